"""Who has seen which head: cosignatures as collected. Counts and times, never names."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.db.models import Case, Count, F, Max, Min, Q, QuerySet, When

from scalewitness.domain.translog.notes import SignatureLine, read_line, read_note
from scalewitness.domain.translog.witnessing import Target, read_target
from scalewitness.ledger.models import Checkpoint, Cosignature, Witness, WitnessEnd, WitnessPush

MOST_LINES = 15
"""Cosignatures under one served checkpoint. Readers of signed notes take at least 16 lines
(C2SP signed-note), of which one is the log's own."""
HEADS_SHOWN = 20


@dataclass(frozen=True, slots=True)
class HeadSeen:
    """One head, and how many keepers and outside witnesses have cosigned exactly it;
    ``first_at`` and ``last_at`` by the witnesses' own clocks."""

    size: int
    root: bytes
    keepers: int
    outside: int
    first_at: datetime
    last_at: datetime


@dataclass(frozen=True, slots=True)
class Revoked:
    """A witness key, and from which size of the tree on what it says is worth nothing;
    ``position``: of the entry that says so."""

    key: str
    size: int
    position: int


@dataclass(frozen=True, slots=True)
class OwnWitness:
    """A keeper's witness key: the largest tree that it cosigned, when by its own clock, and from
    which size on it is revoked."""

    key: str
    registered_at: datetime
    size: int | None
    at: datetime | None
    revoked_from: int | None


@dataclass(frozen=True, slots=True)
class Watching:
    """How many keepers ever cosigned a head, and how many outside witnesses did."""

    keepers: int
    outside: int


def cosigned_note(checkpoint: Checkpoint) -> str:
    """The checkpoint's note with the cosignatures collected so far, outside witnesses'
    first, then as they came; at most :data:`MOST_LINES`."""
    return str(read_note(checkpoint.note).with_lines(_lines_under(checkpoint)))


def that_count() -> QuerySet[Cosignature]:
    """All but those that a key made for trees from which on its keeper revoked it."""
    return Cosignature.objects.exclude(witness__end__size__lte=F("size"))


def revoked_witnesses() -> list[Revoked]:
    rows = WitnessEnd.objects.order_by("position").values_list("witness__key", "size", "position")
    return [Revoked(*row) for row in rows]


def witnesses_of(keeper: UUID) -> list[OwnWitness]:
    """The keeper's own, as they were registered."""
    rows = Witness.objects.filter(keeper=keeper).order_by("pk")
    seen = rows.annotate(largest=Max("cosignature__size"), latest=Max("cosignature__at"))
    names = ("key", "registered_at", "largest", "latest", "end__size")
    return [OwnWitness(*row) for row in seen.values_list(*names)]


def witness_of(keeper: UUID, key: str) -> Witness | None:
    """The keeper's witness with this verifier key."""
    return Witness.objects.filter(keeper=keeper, key=key).select_related("end").first()


def _lines_under(checkpoint: Checkpoint) -> Iterable[SignatureLine]:
    rows = that_count().filter(size=checkpoint.size, root=checkpoint.root)
    ours = Case(When(witness__keeper=None, then=0), default=1)
    ranked = rows.order_by(ours, "pk")
    return map(read_line, ranked.values_list("line", flat=True)[:MOST_LINES])


def newest_cosigned(names: Sequence[str]) -> list[str]:
    """For each of these witnesses that cosigned anything, the newest checkpoint that it did, with
    the lines of those witnesses among them that cosigned the same."""
    wanted = Q()
    for name in names:
        wanted |= Q(witness__key__startswith=f"{name}+")
    rows = that_count().filter(wanted).order_by("witness", "-size").distinct("witness")
    lines: dict[tuple[int, bytes], list[SignatureLine]] = {}
    for row in rows if names else ():
        lines.setdefault((row.size, bytes(row.root)), []).append(read_line(row.line))
    found = []
    for (size, root), cosigned in sorted(lines.items()):
        checkpoint = Checkpoint.objects.filter(size=size, root=root).order_by("pk").last()
        if checkpoint is not None:
            found.append(str(read_note(checkpoint.note).with_lines(cosigned)))
    return found


def heads_seen(limit: int = HEADS_SHOWN) -> list[HeadSeen]:
    """The largest heads that anyone cosigned, latest first."""
    rows = (
        that_count()
        .values("size", "root")
        .annotate(
            keepers=Count("witness__keeper", distinct=True),
            outside=Count("witness", filter=Q(witness__keeper=None), distinct=True),
            first_at=Min("at"),
            last_at=Max("at"),
        )
        .order_by("-size")[:limit]
    )
    names = ("size", "root", "keepers", "outside", "first_at", "last_at")
    return [
        HeadSeen(size, bytes(root), *counts) for size, root, *counts in rows.values_list(*names)
    ]


def watching() -> Watching:
    found = Witness.objects.aggregate(
        keepers=Count("keeper", distinct=True), outside=Count("pk", filter=Q(keeper=None))
    )
    return Watching(**found)


def fell_silent(keeper: UUID, after: datetime, before: datetime) -> datetime | None:
    """When a witness of the keeper's own last cosigned, if that was between the two and the log
    has been signed at a larger size since. None if it goes on, or there never was one."""
    own = Cosignature.objects.filter(witness__keeper=keeper, witness__end=None)
    last = own.order_by("received_at").last()
    if last is None or not after < last.received_at < before:
        return None
    grew = Checkpoint.objects.filter(size__gt=last.size, signed_at__lt=before).exists()
    return last.received_at if grew else None


def push_states() -> list[tuple[Target, WitnessPush]]:
    """How it goes with the outside witnesses of the settings, as far as it has begun."""
    targets = {(str(one.key), one.url): one for one in map(read_target, settings.LOG_WITNESSES)}
    rows = WitnessPush.objects.filter(url__in=[one.url for one in targets.values()]).order_by("pk")
    return [(targets[row.key, row.url], row) for row in rows if (row.key, row.url) in targets]

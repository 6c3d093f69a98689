"""What came late: held for a host's decision, and decided on."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Final, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery

from scalewitness.calls.models import HeldCall, HeldDecision, Seal
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.ledger.models import Entry

MOST = 50
ALONE_AFTER: Final = timedelta(days=14)
"""So long a late note waits for the check that it was taken with (our judgement: as long as a check
may come after its visit); then the host decides on the note by itself."""


def _calls() -> QuerySet[HeldCall]:
    """Those of what is held that are calls, with what was decided."""
    found = HeldCall.objects.filter(kind="call_made")
    return found.select_related("animal__collection", "decision")


def held_calls(collections: Iterable[UUID]) -> list[HeldCall]:
    """Undecided late calls on animals of these collections, oldest first."""
    waiting = _calls().filter(animal__collection__in=list(collections), decision=None)
    return list(waiting.order_by("received_at", "pk"))


def waiting_since(moment: datetime) -> list[HeldCall]:
    """Undecided late calls that had come by then, whoever decides on them, oldest first."""
    waiting = _calls().filter(decision=None, received_at__lte=moment)
    return list(waiting.select_related("animal__collection__keeper").order_by("received_at", "pk"))


def held_call_of(held: UUID) -> HeldCall | None:
    return _calls().filter(pk=held).first()


def _notes() -> QuerySet[HeldCall]:
    found = HeldCall.objects.filter(kind="husbandry_noted")
    return found.select_related("animal__collection", "decision")


def lone_notes(now: datetime, **more: object) -> list[HeldCall]:
    """Undecided late notes whose check has not come for so long, oldest first."""
    same = {name: OuterRef(name) for name in ("by", "animal", "grant")}
    came = Exists(HeldCall.objects.filter(kind="call_made", **same))
    waiting = _notes().filter(decision=None, received_at__lte=now - ALONE_AFTER, **more)
    return _not_logged(waiting.exclude(came))


def lone_notes_in(collections: Iterable[UUID], now: datetime) -> list[HeldCall]:
    """Those on animals of these collections."""
    return lone_notes(now, animal__collection__in=list(collections))


def decided_notes(collections: Iterable[UUID]) -> list[HeldCall]:
    """Late notes on animals of these collections that were decided on by themselves, the latest
    first."""
    decided = _notes().filter(animal__collection__in=list(collections), decision__isnull=False)
    return list(decided.order_by("-decision__position")[:MOST])


def own_held_notes(by: UUID) -> list[HeldCall]:
    """Late notes that a keeper sent and that wait, or were decided on by themselves."""
    notes = _notes().filter(by=by)
    waiting = _not_logged(notes.filter(decision=None))
    return [*waiting, *notes.filter(decision__isnull=False).order_by("-received_at", "pk")[:MOST]]


def as_sent(held: HeldCall) -> bytes:
    """The entry of version 1 that it would be: what it says, with its signature."""
    kept = held.submission
    return leaf_bytes(
        kind=held.kind,
        id=held.pk,
        by=held.by,
        device=held.device,
        at=rfc3339(datetime.fromisoformat(kept["at"])),
        about=held.animal_id,
        body=kept["body"],
        sig=kept.get("sig"),
    )


def unsealed_calls() -> list[HeldCall]:
    """Undecided late calls without an entry: they came before there were such entries."""
    return list(_calls().filter(decision=None, seal=None).order_by("received_at", "pk"))


def first_of_visit(held: HeldCall) -> UUID | None:
    """Of the calls that its sender made on that visit, the first under seal."""
    visit = held.submission["body"].get("visit")
    if visit is None:
        return None
    same = HeldCall.objects.filter(by=held.by, animal=held.animal_id, submission__body__visit=visit)
    sealed = same.filter(kind="call_made", seal__isnull=False).exclude(pk=held.pk)
    return sealed.order_by("seal__position").values_list("pk", flat=True).first()


def all_held(animal: UUID) -> list[HeldCall]:
    """All that ever came late about the animal, as it was sealed; first what never was."""
    rows = HeldCall.objects.filter(animal=animal).select_related("seal", "decision")
    return list(rows.order_by(F("seal__position").asc(nulls_first=True), "received_at", "pk"))


def seals_for(keeper: UUID, positions: Iterable[int]) -> set[int]:
    """Those of the log positions at which a call of the keeper's was sealed."""
    found = Seal.objects.filter(position__in=list(positions), held__by=keeper)
    return set(found.values_list("position", flat=True))


def sealed_for(keeper: UUID, held: UUID) -> Entry | None:
    """The entry that seals a late call that the keeper sent."""
    sealed = Seal.objects.filter(held=held, held__by=keeper).values("position")
    return Entry.objects.filter(position__in=sealed).first()


def to_decide(held: UUID, now: datetime) -> HeldCall | None:
    """What a host decides on or did: a late call, or a late note that came without one."""
    decided = _notes().filter(pk=held, decision__isnull=False).first()
    return held_call_of(held) or decided or next(iter(lone_notes(now, pk=held)), None)


def decided_calls(collections: Iterable[UUID]) -> list[HeldCall]:
    """Late calls on animals of these collections that were decided on, the latest first."""
    decided = _calls().filter(animal__collection__in=list(collections), decision__isnull=False)
    return list(decided.order_by("-decision__position")[:MOST])


def own_held_calls(by: UUID) -> list[HeldCall]:
    """Late calls that a keeper sent, the latest first."""
    return list(_calls().filter(by=by).order_by("-received_at", "pk")[:MOST])


def own_held_call(by: UUID, held: UUID) -> HeldCall | None:
    return _calls().filter(by=by, pk=held).first()


def calls_held_with(by: UUID, animal: UUID, grant: UUID) -> list[HeldCall]:
    """Late calls that somebody made on the animal under one grant."""
    # Those held before notes were do not say the grant; a guest's say the visit, which is the same.
    under = Q(grant=grant) | Q(grant=None, submission__body__visit=str(grant))
    return list(_calls().filter(under, by=by, animal=animal))


def notes_held_with(call: HeldCall) -> list[HeldCall]:
    """What was noted under the grant of a call and came late as well, and is not in the log."""
    held = HeldCall.objects.filter(by=call.by, animal=call.animal_id, grant=grant_of(call))
    return _not_logged(held.filter(kind="husbandry_noted", decision=None))


def photos_held_with(call: HeldCall) -> list[HeldCall]:
    """Photos of the call that wait with it, and are not in the log."""
    shows = {"kind": "photo_attached", "submission__body__of": str(call.pk)}
    return _not_logged(HeldCall.objects.filter(by=call.by, animal=call.animal_id, **shows))


def _not_logged(held: QuerySet[HeldCall]) -> list[HeldCall]:
    logged = Entry.objects.filter(fact=OuterRef("pk")).values("position")
    found = held.annotate(logged=Subquery(logged)).filter(logged=None)
    return list(found.order_by("received_at", "pk"))


def grant_of(call: HeldCall) -> UUID | None:
    """Under which it was made. Those held before notes were do not say it; a guest's say the
    visit, which is the same."""
    visit = call.submission["body"].get("visit")
    return call.grant or (UUID(visit) if visit else None)


def decision_of(held: HeldCall) -> bool | None:
    """Whether what is held is admitted; None while it waits. A note is with the calls of its time:
    with the first that is, and not before each of them was not; a photo with the call it shows."""
    if held.kind == "call_made" or held.decision_made is not None:
        return held.decision_made
    if Entry.objects.filter(fact=held.pk).exists():
        return True
    if held.kind == "photo_attached":
        shown = own_held_call(held.by, UUID(held.submission["body"]["of"]))
        return False if shown and shown.decision_made is False else None
    if held.grant is None:
        return None
    made = {one.decision_made for one in calls_held_with(held.by, held.animal_id, held.grant)}
    return False if made == {False} else None


def decisions_for(keeper: UUID, positions: Iterable[int]) -> set[int]:
    """Those of the log positions at which a call of the keeper's was decided on."""
    found = HeldDecision.objects.filter(position__in=list(positions), held__by=keeper)
    return set(found.values_list("position", flat=True))


def decision_on(keeper: UUID, held: UUID) -> Entry | None:
    """The entry of what was decided of a late call that the keeper sent."""
    made = HeldDecision.objects.filter(held=held, held__by=keeper).values("position")
    return Entry.objects.filter(position__in=made).first()


@dataclass(frozen=True, slots=True)
class LateChecks:
    """Late checks of an animal that do not count: when each came that waits, and when it was
    decided of each that was not admitted; oldest first. Nothing of what they found. All that
    somebody sent of one visit is one."""

    waiting: Sequence[datetime] = ()
    not_admitted: Sequence[datetime] = ()


class WithVisit(TypedDict):
    visit: str | None
    decided: datetime | None


if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    LeftOut: TypeAlias = WithAnnotations[HeldCall, WithVisit]
    """With its visit, and when it was decided that it is not admitted; None while it waits."""
else:
    LeftOut = HeldCall


def late_checks_of(animal: UUID, until: int | None = None) -> LateChecks:
    """As of the log's first ``until`` entries, where that is said."""
    return late_checks(left_out(animal, until))


def left_out(animal: UUID, until: int | None = None) -> QuerySet[LeftOut]:
    """Calls that do not count, as they came too late, oldest first; ``until`` as above."""
    heard = Entry.objects.filter(position=OuterRef("decision__position")).values("received_at")
    rows = HeldCall.objects.filter(animal=animal, kind="call_made").exclude(decision__admitted=True)
    if until is not None:
        heard = heard.filter(position__lt=until)
        # Of one that was never sealed no entry tells when it came, only when it was decided on.
        rows = rows.filter(Q(seal__position__lt=until) | Q(seal=None, decision__position__lt=until))
    when = rows.annotate(visit=F("submission__body__visit"), decided=Subquery(heard))
    return when.order_by("received_at")


def late_checks(left_out: Iterable[LeftOut]) -> LateChecks:
    """All that somebody sent of one visit is one."""
    found: dict[bool, dict[tuple[UUID, str], datetime]] = {True: {}, False: {}}
    for one in left_out:
        occasion = (one.by, str(one.visit or one.pk))
        at = one.decided or one.received_at
        found[one.decided is None].setdefault(occasion, at)
    return LateChecks(*(tuple(sorted(found[waits].values())) for waits in (True, False)))

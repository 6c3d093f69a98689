"""Reading planned pairings."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, TypedDict
from uuid import UUID

from django.db.models import Q, QuerySet, prefetch_related_objects

from scalewitness.animals.models import Animal
from scalewitness.breeding.models import Pairing
from scalewitness.breeding.queries.agreements import awaited_in
from scalewitness.calls.queries.visibility import Reader, Seen, reader_of, seen_animals
from scalewitness.domain.observations import Sex
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import label_in_force

AHEAD: dict[str, Any] = {"end": None, "sire__ended": "", "dam__ended": ""}
"""A pairing that is planned still, of two animals that are there."""


Whose = Literal["own", "other"]


class WithLabels(TypedDict):
    sire_label: str
    dam_label: str


if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    Labelled: TypeAlias = WithAnnotations[Pairing, WithLabels]
    """With the label that each of the two stands under now."""
else:
    Labelled = Pairing


@dataclass(frozen=True, slots=True)
class PairingSeen:
    """A pairing as one keeper sees it: ``sire`` and ``dam`` are None where the animal itself
    is not theirs to see. ``labels``: of their standings in force. ``awaits``: whose agreement is
    still awaited, the reader's own or another's."""

    pairing: Pairing
    sire: Animal | None
    dam: Animal | None
    labels: tuple[str, str]
    awaits: frozenset[Whose]

    @property
    def whole(self) -> bool:
        """Whether its reader sees both."""
        return self.sire is not None and self.dam is not None


def pairing_of(pairing: UUID) -> Pairing | None:
    return _with_animals().filter(pk=pairing).first()


def planned_with(animal: UUID) -> list[Pairing]:
    """Pairings with this animal that are planned still, in the order planned."""
    rows = _with_animals().filter(Q(sire=animal) | Q(dam=animal), end=None)
    return list(rows.order_by("position"))


def is_planned(sire: UUID, dam: UUID, season: int) -> bool:
    return Pairing.objects.filter(sire=sire, dam=dam, season=season, end=None).exists()


def animals_paired(animals: Iterable[UUID]) -> Counter[UUID]:
    """Those of the animals that are in a planned pairing, each with how many it is in."""
    wanted = set(animals)
    rows = Pairing.objects.filter(Q(sire__in=wanted) | Q(dam__in=wanted), **AHEAD)
    pairs = rows.values_list("sire", "dam")
    return Counter(one for pair in pairs for one in pair if one in wanted)


def pairings_seen(
    keeper: UUID, now: datetime, *, among: Iterable[UUID] | None = None
) -> list[PairingSeen]:
    """Planned pairings of animals that the keeper holds or is a partner in, by season; of the
    animals ``among`` them, or all. Where the other animal is one they are still to check blind,
    there is nothing to be seen: a pairing says what each is taken for."""
    reader = reader_of(keeper, now)
    found = pairings_of(reader, among)
    seen = seen_animals(keeper, paired_in(found), now)
    prefetch_related_objects([animal for animal, _ in seen.values()], "identifiers")
    return list(as_seen(found, reader, seen))


def pairings_of(
    reader: Reader,
    among: Iterable[UUID] | None = None,
    which: Mapping[str, Any] = AHEAD,
) -> list[Labelled]:
    """The same, before it is known what of them the reader sees."""
    held = reader.holds
    rows = Pairing.objects.filter(
        Q(sire__collection__in=held) | Q(dam__collection__in=held), **which
    )
    if among is not None:
        wanted = set(among)
        rows = rows.filter(Q(sire__in=wanted) | Q(dam__in=wanted))
    rows = rows.annotate(sire_label=label_in_force("sire"), dam_label=label_in_force("dam"))
    return list(rows.order_by("season", "position"))


def paired_in(pairings: Iterable[Pairing]) -> set[UUID]:
    return {one for pair in pairings for one in (pair.sire_id, pair.dam_id)}


def as_seen(pairings: Iterable[Labelled], reader: Reader, seen: Seen) -> Iterator[PairingSeen]:
    """``seen``: those of the animals in them that the reader sees."""
    blind = _blind(reader, seen)
    listed = list(pairings)
    awaited = awaited_in([one.pk for one in listed], reader.now)
    for one in listed:
        if not blind & {one.sire_id, one.dam_id}:
            rooms = awaited.get(one.pk, {}).values()
            awaits = frozenset[Whose]("own" if room in reader.holds else "other" for room in rooms)
            sire, dam = (seen[pk][0] if pk in seen else None for pk in (one.sire_id, one.dam_id))
            yield PairingSeen(one, sire, dam, (one.sire_label, one.dam_label), awaits)


def _blind(reader: Reader, seen: Seen) -> set[UUID]:
    """Those that the reader is to check blind, or whose call of theirs is awaited."""
    blind = {animal for animal, (_, sight) in seen.items() if sight == "blind"}
    return blind | (reader.awaited - seen.keys())


def is_open_to(keeper: UUID, pairing: Pairing, now: datetime) -> bool:
    """Whether the keeper is told of the pairing, planned still or not: they hold one of the two,
    or are a partner where it is, and are to check neither blind."""
    reader = reader_of(keeper, now)
    if not {pairing.sire.collection_id, pairing.dam.collection_id} & reader.holds:
        return False
    return not _blind(reader, seen_animals(keeper, paired_in([pairing]), now)) & paired_in(
        [pairing]
    )


def was_verified(animal: UUID, sex: Sex, since: int, before: int) -> bool:
    """Whether it stood as verified to be of that sex at log position ``since``, or at any time
    after and before ``before``."""
    rows = Standing.objects.filter(animal=animal, position__lt=before)
    then = rows.filter(position__lte=since).order_by("-position").first()
    if then is not None and then.label == f"verified {sex}":
        return True
    return rows.filter(position__gt=since, label=f"verified {sex}").exists()


def _with_animals() -> QuerySet[Pairing, Pairing]:
    rows = Pairing.objects.select_related("sire__collection__keeper", "dam__collection__keeper")
    return rows.prefetch_related("sire__identifiers", "dam__identifiers")

"""Clutches of a collection: young of the same parents hatched on the same day."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from uuid import UUID

from django.db.models import Q

from scalewitness.animals.models import Animal, Collection
from scalewitness.calls.queries.standings import label_of, latest_standings
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.clutches import Ratio, Tally, sex_ratio, tally

CAUTION = (
    "Small clutches say little: an uneven clutch is common by chance, and an even one does "
    "not show that every hatchling was sexed rightly."
)


@dataclass(frozen=True, slots=True)
class Clutch:
    """``counted`` follows the standings, probable and verified alike; ``ratio`` None: no
    hatchling is sexed yet."""

    sire: UUID | None
    dam: UUID | None
    hatched: date
    animals: tuple[Animal, ...]
    counted: Tally
    ratio: Ratio | None

    @property
    def first(self) -> UUID:
        """One of its animals, by which the clutch is found again."""
        return self.animals[0].pk


def clutches_of(collection: Collection) -> list[Clutch]:
    """Animals with a known day of hatching and at least one known parent, latest first."""
    young = collection.animals.exclude(hatched=None).exclude(Q(sire=None) & Q(dam=None))
    ordered = sorted(young.prefetch_related("identifiers"), key=_key)
    labels = {pk: one.label for pk, one in latest_standings(one.pk for one in ordered).items()}
    groups = [list(group) for _, group in groupby(ordered, key=lambda one: _key(one)[:3])]
    return [_clutch(group, labels) for group in reversed(groups)]


def clutch_with(collection: Collection, animal: UUID) -> Clutch:
    """The clutch an animal of the collection belongs to.

    Raises:
        NotFound: it is in no clutch here.
    """
    for one in clutches_of(collection):
        if animal in {young.pk for young in one.animals}:
            return one
    raise NotFound()


def _key(one: Animal) -> tuple[str, str, str, str, str]:
    codes = sorted(mark.code for mark in one.identifiers.all())
    return str(one.hatched), str(one.dam), str(one.sire), codes[0] if codes else "", str(one.pk)


def _clutch(animals: Sequence[Animal], labels: dict[UUID, str]) -> Clutch:
    counted = _tally(labels.get(one.pk, label_of(None)) for one in animals)
    sexed = counted.males + counted.females
    first = animals[0]
    assert first.hatched is not None  # noqa: S101  the query left them out
    return Clutch(
        sire=first.sire,
        dam=first.dam,
        hatched=first.hatched,
        animals=tuple(animals),
        counted=counted,
        ratio=sex_ratio(counted) if sexed else None,
    )


def _tally(labels: Iterable[str]) -> Tally:
    return tally(sex_of(label) or "undetermined" for label in labels)


def ratio_in_words(ratio: Ratio) -> str:
    """The test, its p-value and the interval, with the caution."""
    return (
        f"{ratio.text} Against one male to one female the exact binomial test gives "
        f"p = {ratio.p:.3g}; the share of males behind such a clutch lies between "
        f"{100 * ratio.low:.0f} and {100 * ratio.high:.0f} in 100 (Clopper and Pearson, 95%). "
        f"{CAUTION}"
    )

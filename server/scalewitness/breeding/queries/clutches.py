"""Clutches of a collection: young of the same parents hatched on the same day, as far as the
reader may be told of those parents."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from scalewitness.animals.models import Animal, Collection
from scalewitness.calls.queries.visibility import VisibleParents, visible_parents
from scalewitness.domain.consequences import sex_of
from scalewitness.domain.errors import NotFound
from scalewitness.domain.sexing.clutches import (
    FirstCheck,
    Ratio,
    Tally,
    first_check,
    sex_ratio,
    tally,
)
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.evidence import evidence_by_animal
from scalewitness.standings.queries.logged import label_of, labels_of

CAUTION = (
    "Small clutches say little: an uneven clutch is common by chance, and an even one does "
    "not show that every hatchling was sexed rightly."
)


@dataclass(frozen=True, slots=True)
class Clutch:
    """``counted`` follows the standings, probable and verified alike; ``ratio`` follows what
    the first check of each hatchling showed, and is None where too few were checked."""

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


@dataclass(frozen=True, slots=True)
class Brood:
    """What makes animals of a collection a clutch."""

    collection: UUID
    hatched: date
    dam: UUID | None
    sire: UUID | None


def broods_in(collection: Collection, keeper: UUID, now: datetime) -> list[Brood]:
    """Of animals with a known day of hatching and at least one parent that ``keeper`` is told,
    latest first."""
    rows = _young().filter(collection=collection).values_list(*BROOD).distinct()
    broods = [Brood(*row) for row in rows]
    rule = visible_parents(keeper, (one for each in broods for one in (each.sire, each.dam)), now)
    shown = {found for one in broods if (found := _as_shown(one, rule)) is not None}
    return sorted(shown, key=_latest_first, reverse=True)


def clutches_of(broods: Sequence[Brood], keeper: UUID, now: datetime) -> list[Clutch]:
    """Their clutches, in the order given, the animals of each by code."""
    if not broods:
        return []
    within = Q(collection__in={one.collection for one in broods})
    days = Q(hatched__in={one.hatched for one in broods})
    animals = sorted(_young().filter(within & days).prefetch_related("identifiers"), key=_key)
    ids = [one.pk for one in animals]
    labels, checks = labels_of(ids), _first_checks(ids)
    rule = visible_parents(keeper, (one for each in animals for one in (each.sire, each.dam)), now)
    found: dict[Brood | None, list[Animal]] = {}
    for animal in animals:
        found.setdefault(_as_shown(brood_of(animal), rule), []).append(animal)
    return [_clutch(one, found[one], labels, checks) for one in broods]


def clutch_with(collection: Collection, animal: UUID, keeper: UUID, now: datetime) -> Clutch:
    """The clutch an animal of the collection belongs to.

    Raises:
        NotFound: it is in no clutch here.
    """
    one = _young().filter(collection=collection, pk=animal).first()
    rule = visible_parents(keeper, (one.sire, one.dam) if one else (), now)
    brood = _as_shown(brood_of(one), rule) if one else None
    if brood is None:
        raise NotFound()
    return clutches_of([brood], keeper, now)[0]


def _as_shown(brood: Brood, rule: VisibleParents) -> Brood | None:
    """With the parents that may be told; None where there is none."""
    sire, dam = rule.shown(brood.collection, brood.sire, brood.dam)
    return replace(brood, sire=sire, dam=dam) if sire or dam else None


def _latest_first(one: Brood) -> tuple[date, str, str]:
    return one.hatched, str(one.dam or ""), str(one.sire or "")


def brood_of(animal: Animal) -> Brood:
    assert animal.hatched is not None  # noqa: S101  no other animal is in one
    return Brood(animal.collection_id, animal.hatched, animal.dam, animal.sire)


BROOD = ("collection", "hatched", "dam", "sire")


def _young() -> QuerySet[Animal]:
    return Animal.objects.exclude(hatched=None).exclude(Q(sire=None) & Q(dam=None))


def _key(one: Animal) -> tuple[str, str]:
    codes = sorted(mark.code for mark in one.identifiers.all())
    return codes[0] if codes else "", str(one.pk)


def _first_checks(animals: Iterable[UUID]) -> dict[UUID, FirstCheck]:
    """By the parameters in force; animals of which no check tells are absent."""
    parameters = yardstick().numbers
    each = evidence_by_animal(animals).items()
    found = {animal: first_check(calls, parameters) for animal, calls in each}
    return {animal: one for animal, one in found.items() if one is not None}


def _clutch(
    brood: Brood,
    animals: Sequence[Animal],
    labels: Mapping[UUID, str],
    checks: Mapping[UUID, FirstCheck],
) -> Clutch:
    found = [checks[one.pk] for one in animals if one.pk in checks]
    return Clutch(
        sire=brood.sire,
        dam=brood.dam,
        hatched=brood.hatched,
        animals=tuple(animals),
        counted=_tally(labels.get(one.pk, label_of(None)) for one in animals),
        ratio=sex_ratio(found, others=len(animals) - len(found)),
    )


def _tally(labels: Iterable[str]) -> Tally:
    return tally(sex_of(label) or "undetermined" for label in labels)


def ratio_in_words(ratio: Ratio) -> str:
    """The test, its p-value and the interval, with the caution."""
    overlooked = ", allowing for males that do not evert," if ratio.nothing or ratio.unnoted else ""
    return (
        f"{ratio.text} Against one male to one female{overlooked} the exact binomial test gives "
        f"p = {ratio.p:.3g}; the share of males behind such a clutch lies between "
        f"{100 * ratio.low:.0f} and {100 * ratio.high:.0f} in 100 (Clopper and Pearson, at least "
        f"95%). {CAUTION}"
    )

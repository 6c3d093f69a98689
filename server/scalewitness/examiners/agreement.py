"""How far the examiners of a collection agree, before any of them knew another's answer."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from itertools import combinations
from uuid import UUID

import numpy as np
from msgspec import Struct

from scalewitness.calls.models import COUNTS, Call
from scalewitness.domain.sexing.examiners.agreement import Cohen, cohen
from scalewitness.domain.sexing.examiners.agreement_many import (
    Agreement,
    Alpha,
    counted,
    fleiss,
    krippendorff,
)
from scalewitness.domain.sexing.examiners.provisional import SEXES
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.queries import names_of

RESAMPLES = 2000
"""For the interval of alpha (common practice)."""

Conclusions = dict[tuple[UUID, UUID], str]
"""By examiner and animal."""


class Pair(Struct, frozen=True):
    """Two examiners over the animals both concluded on, which are ``behind`` it; ``kappa`` is None
    when both always gave the one same answer, which chance would explain as well."""

    first: UUID
    second: UUID
    animals: int
    agreed: int
    kappa: Cohen | None
    behind: tuple[UUID, ...] = ()


class CollectionAgreement(Struct, frozen=True):
    """``animals`` with a blind conclusion, ``compared`` of them with two or more.

    ``fleiss`` and ``krippendorff`` are None when no animal was concluded on twice or only
    one answer was ever given. ``as_of`` is the last log position there was.
    """

    names: Mapping[UUID, str]
    animals: int
    compared: int
    fleiss: Agreement | None
    krippendorff: Alpha | None
    pairs: tuple[Pair, ...]
    as_of: int


def agreement_in(collection: UUID, generator: np.random.Generator) -> CollectionAgreement:
    """Agreement over the animals the collection holds now; the caller has checked that it
    may be shown. Each examiner's first blind conclusion on an animal counts."""
    found = _first_blind(collection)
    examiners = sorted({examiner for examiner, _ in found})
    raters = Counter(animal for _, animal in found)
    compared = sum(times > 1 for times in raters.values())
    answers = [(str(who), str(animal), sex) for (who, animal), sex in found.items()]
    table = counted(answers, SEXES)
    return CollectionAgreement(
        names=names_of(examiners),
        animals=len(raters),
        compared=compared,
        fleiss=fleiss(table) if compared else None,
        krippendorff=krippendorff(table, generator, RESAMPLES) if compared else None,
        pairs=_pairs(examiners, found),
        as_of=tip().size - 1,
    )


def _first_blind(collection: UUID) -> Conclusions:
    calls = Call.objects.filter(
        COUNTS,
        animal__collection=collection,
        blind=True,
        conclusion__in=SEXES,
    ).order_by("position")
    first: Conclusions = {}
    for examiner, animal, sex in calls.values_list("examiner", "animal", "conclusion"):
        first.setdefault((examiner, animal), sex)
    return first


def _pairs(examiners: Sequence[UUID], found: Conclusions) -> tuple[Pair, ...]:
    by_examiner: defaultdict[UUID, dict[UUID, str]] = defaultdict(dict)
    for (examiner, animal), sex in found.items():
        by_examiner[examiner][animal] = sex
    tried = (
        _pair(one, two, by_examiner[one], by_examiner[two])
        for one, two in combinations(examiners, 2)
    )
    return tuple(pair for pair in tried if pair.animals)


def _pair(one: UUID, two: UUID, first: dict[UUID, str], second: dict[UUID, str]) -> Pair:
    behind = sorted(first.keys() & second.keys())
    both = Counter((first[animal], second[animal]) for animal in behind)
    table = [[both[row, column] for column in SEXES] for row in SEXES]
    animals = both.total()
    agreed = sum(both[sex, sex] for sex in SEXES)
    return Pair(one, two, animals, agreed, cohen(table) if animals else None, tuple(behind))

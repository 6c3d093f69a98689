"""Error rates where too little is settled: from how the examiners' calls agree.

Blind, concluding calls of all examiners are pooled; a method has a table of its own for
each examiner. Settled animals keep their sex. The result is provisional: it ranks
examiners and never enters a standing, because examiners whom the same animals mislead in
the same way look better than they are.
"""

from collections.abc import Callable, Iterable, Iterator
from math import fsum

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.examiners.labels import UNKNOWN, Labels, labels
from scalewitness.domain.sexing.examiners.posterior import Determination
from scalewitness.domain.sexing.examiners.starts import Comparison, compare
from scalewitness.domain.sexing.parameters import ParameterSet
from scalewitness.domain.sexing.records import error_prior

FloatArray = npt.NDArray[np.float64]

SEXES: tuple[Sex, Sex] = ("male", "female")
"""The classes, in the order of their numbers."""

Hand = tuple[str, Method]
"""An examiner by one method."""

AGREED = 1e-3
"""Answers that fit equally well agree on a rate when it is no further apart: it is told to
a tenth of one in 100."""


class ProvisionalRate(Struct, frozen=True):
    """Estimated share of wrong conclusions on one sex, the prior of the role included;
    ``animals`` is how many of that sex the estimate rests on, by expectation."""

    examiner: str
    method: Method
    sex: Sex
    rate: float
    animals: float


class Provisional(Struct, frozen=True):
    """Provisional rates, and how far to trust the fit they come from.

    ``males`` is the estimated share of males among the animals. ``differ`` says that other
    starts ended at other maxima, ``outdone`` that one of them was higher than that of the
    averaged start; the rates are then the higher one's. ``undetermined`` says that different
    answers fit equally well: rates on which these disagree are left out, and ``males`` is
    the middle of what they say.
    """

    rates: tuple[ProvisionalRate, ...]
    males: float
    animals: int
    converged: bool
    differ: bool
    outdone: bool
    undetermined: bool


def provisional_rates(
    calls: Iterable[Determination],
    role_of: Callable[[str], Role],
    numbers: ParameterSet,
    generator: np.random.Generator,
    random_starts: int = 8,
) -> Provisional | None:
    """Rates from ``calls`` in log order; None when no blind call concluded.

    An animal is settled when every call on it carries the same truth. An examiner's first
    blind conclusion on an animal by a method counts, as in their settled record.
    """
    counted = _first_conclusions(calls)
    if not counted:
        return None
    hands = sorted({(call.examiner, call.method) for call in counted})
    pooled = _labels(counted, hands)
    compared = compare(pooled, generator, random_starts, pseudo=_pseudo(hands, role_of, numbers))
    return _provisional(hands, pooled, compared)


def _first_conclusions(calls: Iterable[Determination]) -> list[Determination]:
    first: dict[tuple[str, Method, str], Determination] = {}
    for call in calls:
        if call.blind and call.conclusion != "undetermined":
            first.setdefault((call.examiner, call.method, call.animal), call)
    return list(first.values())


def _labels(calls: list[Determination], hands: list[Hand]) -> Labels:
    truths: dict[str, set[Sex | None]] = {}
    for call in calls:
        truths.setdefault(call.animal, set()).add(call.truth)
    rows = {animal: row for row, animal in enumerate(truths)}
    places = {hand: place for place, hand in enumerate(hands)}
    known = [_known(truth) for truth in truths.values()]
    return labels(
        [rows[call.animal] for call in calls],
        [places[call.examiner, call.method] for call in calls],
        [0 if call.conclusion == "male" else 1 for call in calls],
        known=known,
    )


def _known(truths: set[Sex | None]) -> int:
    agreed = next(iter(truths)) if len(truths) == 1 else None
    return UNKNOWN if agreed is None else SEXES.index(agreed)


def _pseudo(hands: list[Hand], role_of: Callable[[str], Role], numbers: ParameterSet) -> FloatArray:
    """Every hand starts from the prior of its role, for either sex."""
    tables = []
    for examiner, method in hands:
        role = role_of(examiner)
        (male_wrong, male_right), (female_wrong, female_right) = (
            error_prior(numbers, role, method, sex) for sex in SEXES
        )
        tables.append([[male_right, male_wrong], [female_wrong, female_right]])
    return np.array(tables)


def _provisional(hands: list[Hand], pooled: Labels, compared: Comparison) -> Provisional:
    males = [float(one.prevalence[0]) for one in compared.tied]
    return Provisional(
        rates=tuple(_rates(hands, pooled, compared)),
        males=(min(males) + max(males)) / 2,
        animals=pooled.animals,
        converged=all(one.converged for one in compared.tied),
        differ=compared.differ,
        outdone=compared.outdone,
        undetermined=compared.undetermined,
    )


def _rates(hands: list[Hand], pooled: Labels, compared: Comparison) -> Iterator[ProvisionalRate]:
    """For every hand and sex the rate and the expected animals, where the fits agree."""
    counts = np.asarray(pooled.given.T @ compared.best.posterior).reshape(-1, 2, 2)
    for hand, (examiner, method) in enumerate(hands):
        for sex, name in enumerate(SEXES):
            rates = [float(one.tables[hand, sex, 1 - sex]) for one in compared.tied]
            if max(rates) - min(rates) <= AGREED:
                animals = fsum(counts[hand, :, sex])
                yield ProvisionalRate(examiner, method, name, rates[0], animals)

"""Further measures of agreement of any number of examiners, and Fleiss' kappa taken apart.

Gwet 2008 and 2014 (AC1); Brennan and Prediger 1981; Fleiss 1971; Fleiss, Nee and Landis 1979.
Tables are those of :mod:`scalewitness.domain.sexing.examiners.agreement_many`.
"""

from math import sqrt

import numpy as np
from msgspec import Struct
from scipy.special import ndtr

from scalewitness.domain.sexing.examiners.agreement_many import (
    Agreement,
    FloatArray,
    Table,
    answer_shares,
    corrected,
    fleiss,
    pairwise,
    rated_animals,
)
from scalewitness.domain.sexing.examiners.beta import LEVEL


class NoAgreementNull(Struct, frozen=True):
    """Fleiss, Nee and Landis 1979: standard error and z of Fleiss' kappa if there is no
    agreement beyond chance; ``p`` is two-sided."""

    se: float
    z: float
    p: float


def gwet(table: Table, level: float = LEVEL) -> Agreement | None:
    """Gwet's AC1: chance agreement small when one answer is rare, unlike kappa's."""
    rated = rated_animals(table)
    shares, classes = answer_shares(rated), rated.shape[1]
    expected = float(shares @ (1 - shares)) / (classes - 1)
    by_animal = rated @ (1 - shares) / rated.sum(1) / (classes - 1)
    return corrected(rated, expected, by_animal, level)


def brennan_prediger(table: Table, level: float = LEVEL) -> Agreement | None:
    """All answers equally likely by chance; with two answers the prevalence- and
    bias-adjusted kappa (PABAK)."""
    rated = rated_animals(table)
    expected = 1 / rated.shape[1]
    return corrected(rated, expected, np.full(rated.shape[0], expected), level)


def animal_agreement(table: Table) -> FloatArray:
    """The share of pairs of examiners that agree on each animal seen by two or more."""
    return pairwise(rated_animals(table, at_least=2))


def answer_kappas(table: Table) -> FloatArray:
    """Fleiss' kappa of each answer against all others; every animal rated as often, every
    answer given at least once."""
    rated, times = _same_times(table)
    shares = answer_shares(rated)
    split = (rated * (times - rated)).sum(0) / (len(rated) * times * (times - 1))
    return np.asarray(1 - split / (shares * (1 - shares)))


def fleiss_null(table: Table) -> NoAgreementNull | None:
    """The test of Fleiss' kappa against no agreement. Raises ValueError unless every animal
    was rated as often."""
    found = fleiss(table)
    if found is None:
        return None
    rated, times = _same_times(table)
    shares = answer_shares(rated)
    spread = shares * (1 - shares)
    total = float(spread.sum())
    skew = float((spread * (1 - 2 * shares)).sum())
    se = sqrt(2 * (total**2 - skew) / (len(rated) * times * (times - 1))) / total
    return NoAgreementNull(se, found.coefficient / se, 2 * float(ndtr(-found.coefficient / se)))


def _same_times(table: Table) -> tuple[FloatArray, float]:
    rated = rated_animals(table)
    times = rated.sum(1)
    if times.size == 0 or times.min() != times.max() or times[0] < 2:
        raise ValueError("every animal must be rated equally often, twice at least")
    return rated, float(times[0])

"""Two findings and no certain answer: what can still be said of both.

With two populations of different prevalence the six unknowns have six equations (Hui and
Walter 1980, Biometrics 36). With one population they have three, and priors must help
(Joseph, Gyorkos and Coupal 1995, American Journal of Epidemiology 141). Both take the two
findings as independent given the truth; :mod:`bench.examiners.correlated` is
for when they are not.
"""

from math import sqrt
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.special import betainc, betaln, gammaln, xlogy

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.records import Beta

FloatArray = npt.NDArray[np.float64]


class Cells(NamedTuple):
    """Counts of the results of two tests: both positive, first only, second only, none."""

    both: int
    first: int
    second: int
    neither: int


class TwoPopulations(Struct, frozen=True):
    """Hui and Walter's estimates, each as (first, second): the populations' prevalence, the
    tests' sensitivity and false-positive rate. ``log_likelihood`` has no multinomial
    coefficients in it; ``fitted`` are the expected cells of each population."""

    prevalence: tuple[float, float]
    sensitivity: tuple[float, float]
    false_positive: tuple[float, float]
    log_likelihood: float
    fitted: tuple[tuple[float, ...], tuple[float, ...]]


def hui_walter(one: Cells, two: Cells) -> TwoPopulations | None:
    """Estimates from two populations in closed form; they fit the six free cells exactly.

    Between the two mirror solutions the one with tests better than chance is taken. None
    where the equations have no answer inside [0, 1], as with populations too alike.
    """
    positives, covariances = zip(*(_moments(cells) for cells in (one, two)), strict=True)
    gaps = positives[1] - positives[0]
    if gaps[0] * gaps[1] == 0:
        return None
    ratios = np.array(covariances) / (gaps[0] * gaps[1])
    lean = 1 + ratios[1] - ratios[0]
    inside = lean * lean + 4 * ratios[0]
    if inside <= 0:
        return None
    apart = np.sign(gaps[0]) / sqrt(inside)
    first = (1 - apart * lean) / 2
    false = positives[0] - first * gaps / apart
    sensitivity = false + gaps / apart
    estimates = np.concatenate([[first, first + apart], sensitivity, false])
    if (estimates < -_ROUNDING).any() or (estimates > 1 + _ROUNDING).any():
        return None
    return _estimated(one, two, np.clip(estimates, 0.0, 1.0))


class Priors(Struct, frozen=True):
    """Beta priors; the tests' as (first, second)."""

    prevalence: Beta
    sensitivity: tuple[Beta, Beta]
    specificity: tuple[Beta, Beta]


class Marginal(Struct, frozen=True):
    """One unknown's posterior: mean, spread, median and equal-tailed interval."""

    mean: float
    sd: float
    low: float
    median: float
    high: float


class OnePopulation(Struct, frozen=True):
    """Posterior of prevalence and of the tests, as (first, second); ``truly_positive`` is
    the chance of being so for each cell, in the order of :class:`Cells`, None where it is
    empty."""

    prevalence: Marginal
    sensitivity: tuple[Marginal, Marginal]
    specificity: tuple[Marginal, Marginal]
    truly_positive: tuple[float | None, ...]


def one_population(cells: Cells, priors: Priors, level: float = LEVEL) -> OnePopulation:
    """The exact posterior: a sum over how many of each cell are truly positive.

    The sum has Π (cell + 1) terms, so this is for hundreds of animals, not for thousands.
    """
    true = [part.ravel() for part in np.indices(tuple(count + 1 for count in cells))]
    false = [count - part for count, part in zip(cells, true, strict=True)]
    mixtures = [
        _mixture(priors.prevalence, sum(true), sum(false)),
        _mixture(priors.sensitivity[0], true[0] + true[1], true[2] + true[3]),
        _mixture(priors.sensitivity[1], true[0] + true[2], true[1] + true[3]),
        _mixture(priors.specificity[0], false[2] + false[3], false[0] + false[1]),
        _mixture(priors.specificity[1], false[1] + false[3], false[0] + false[2]),
    ]
    logs = sum(betaln(mixture.a, mixture.b)[mixture.which] for mixture in mixtures)
    logs = logs - sum(gammaln(t + 1) + gammaln(f + 1) for t, f in zip(true, false, strict=True))
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    marginals = [_marginal(weights, mixture, level) for mixture in mixtures]
    return OnePopulation(
        prevalence=marginals[0],
        sensitivity=(marginals[1], marginals[2]),
        specificity=(marginals[3], marginals[4]),
        truly_positive=tuple(
            float(weights @ part) / count if count else None
            for count, part in zip(cells, true, strict=True)
        ),
    )


_ROUNDING = 1e-9
"""Estimates this far outside [0, 1] are there by rounding alone."""
_HALVINGS = 60
"""Each halves what is not known of a quantile; after these nothing is left of a double."""


def _moments(cells: Cells) -> tuple[FloatArray, float]:
    """Share positive by each test, and their covariance."""
    n = sum(cells)
    shares = np.array([cells.both + cells.first, cells.both + cells.second]) / n
    return shares, float(cells.both / n - shares[0] * shares[1])


def _estimated(one: Cells, two: Cells, estimates: FloatArray) -> TwoPopulations:
    prevalence, sensitivity, false = estimates.reshape(3, 2)
    chances = [share * _cells(sensitivity) + (1 - share) * _cells(false) for share in prevalence]
    height = sum(
        float(xlogy(cells, np.maximum(chance, 0)).sum())
        for cells, chance in zip((one, two), chances, strict=True)
    )
    fitted = [
        tuple(map(float, chance * sum(cells)))
        for cells, chance in zip((one, two), chances, strict=True)
    ]
    return TwoPopulations(
        _pair(prevalence), _pair(sensitivity), _pair(false), height, (fitted[0], fitted[1])
    )


def _cells(positive: FloatArray) -> FloatArray:
    """Chances of the four cells from those of two independent positives."""
    first, second = positive
    return np.array(
        [
            first * second,
            first * (1 - second),
            (1 - first) * second,
            (1 - first) * (1 - second),
        ]
    )


def _pair(values: FloatArray) -> tuple[float, float]:
    return float(values[0]), float(values[1])


class _Mixture(NamedTuple):
    """The distinct betas that the terms of the sum call for, and which term which."""

    a: FloatArray
    b: FloatArray
    which: npt.NDArray[np.intp]


def _mixture(prior: Beta, hits: npt.NDArray[np.int64], misses: npt.NDArray[np.int64]) -> _Mixture:
    most = int(misses.max()) + 1
    keys, which = np.unique(hits * most + misses, return_inverse=True)
    return _Mixture(prior[0] + keys // most * 1.0, prior[1] + keys % most * 1.0, which)


def _marginal(weights: FloatArray, of: _Mixture, level: float) -> Marginal:
    """Summary of a mixture of betas."""
    shares = np.bincount(of.which, weights).astype(float)
    means = of.a / (of.a + of.b)
    mean = float(shares @ means)
    square = float(shares @ (means * (of.a + 1) / (of.a + of.b + 1)))
    tail = (1 - level) / 2
    low, median, high = (_quantile(shares, of, share) for share in (tail, 0.5, 1 - tail))
    return Marginal(mean, sqrt(max(0.0, square - mean**2)), low, median, high)


def _quantile(shares: FloatArray, of: _Mixture, share: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        below = float(shares @ betainc(of.a, of.b, middle))
        low, high = (middle, high) if below < share else (low, middle)
    return (low + high) / 2

"""Do any number of examiners agree beyond chance? Fleiss, Scott, Krippendorff.

All take one table: a row for each animal, a column for each answer, in it how many
examiners gave that answer. Animals examined by few or one are allowed. With every animal
examined by the same two people, Fleiss' kappa is Scott's pi.

Fleiss 1971; Gwet 2008 and 2014 (missing ratings, linearised standard errors);
Krippendorff 2011. All are nominal: the sexes have no order.
"""

from collections.abc import Iterable, Sequence
from math import sqrt

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.binomial import Interval, normal_quantile

FloatArray = npt.NDArray[np.float64]
Table = Sequence[Sequence[float]] | FloatArray


class Agreement(Struct, frozen=True):
    """A coefficient with the shares of agreement observed and expected by chance, its
    standard error over animals (n − 1) and normal interval."""

    coefficient: float
    observed: float
    expected: float
    se: float
    interval: Interval


class Alpha(Struct, frozen=True):
    """Krippendorff's alpha. The interval is a percentile bootstrap over animals;
    ``undefined`` of the resamples held a single answer and were left out of it."""

    alpha: float
    observed: float
    expected: float
    interval: Interval | None = None
    undefined: int = 0


def counted(answers: Iterable[tuple[str, str, str]], classes: Sequence[str]) -> FloatArray:
    """The table of (examiner, animal, answer) triples; the last answer of an examiner on an
    animal counts. Answers that are no class are left out, as not given."""
    last = {(animal, examiner): answer for examiner, animal, answer in answers}
    rows = {animal: row for row, animal in enumerate(dict.fromkeys(key[0] for key in last))}
    table = np.zeros((len(rows), len(classes)))
    for (animal, _), answer in last.items():
        if answer in classes:
            table[rows[animal], classes.index(answer)] += 1
    return table


def pairs(table: Table) -> FloatArray:
    """The square table of two examiners as one row for each animal."""
    counts = np.asarray(table, np.int64)
    classes = np.eye(counts.shape[0])
    both = (classes[:, None, :] + classes[None, :, :]).reshape(-1, counts.shape[0])
    return np.repeat(both, counts.ravel(), axis=0)


def fleiss(table: Table, level: float = LEVEL) -> Agreement | None:
    """Fleiss' kappa: chance agreement from the overall share of each answer."""
    rated = rated_animals(table)
    shares = answer_shares(rated)
    by_animal = rated @ shares / rated.sum(1)
    return corrected(rated, float(shares @ shares), by_animal, level)


def krippendorff(
    table: Table,
    generator: np.random.Generator | None = None,
    resamples: int = 2000,
    level: float = LEVEL,
) -> Alpha | None:
    """Alpha over the animals seen by two or more; with a generator also its interval. None
    when no animal was, or when only one answer was ever given."""
    rated = rated_animals(table, at_least=2)
    alpha, observed, expected = _alpha(rated, np.ones((1, len(rated))))
    if np.isnan(alpha).any():
        return None
    point = Alpha(float(alpha[0]), float(observed[0]), float(expected[0]))
    if generator is None:
        return point
    times = generator.multinomial(len(rated), np.full(len(rated), 1 / len(rated)), resamples)
    drawn = _alpha(rated, times.astype(np.float64))[0]
    defined = drawn[~np.isnan(drawn)]
    low, high = np.quantile(defined, [(1 - level) / 2, (1 + level) / 2])
    interval = (float(low), float(high))
    return Alpha(point.alpha, point.observed, point.expected, interval, resamples - defined.size)


def _alpha(rated: FloatArray, times: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Alpha with its two shares, for each row of how often each animal counts."""
    raters = rated.sum(1)
    agreeing = (rated * (rated - 1)).sum(1) / (raters - 1)
    answers, values = times @ rated, times @ raters
    with np.errstate(divide="ignore", invalid="ignore"):
        expected = ((answers / values[:, None]) ** 2).sum(1)
        observed = 1 - (1 - times @ agreeing / values) * (values - 1) / values
        alpha = (observed - expected) / (1 - expected)
    alpha[~(expected < 1 - 1e-12)] = np.nan
    return alpha, observed, expected


def corrected(
    rated: FloatArray, expected: float, by_animal: FloatArray, level: float
) -> Agreement | None:
    """The coefficient and its linearised standard error: each animal's own agreement, less
    twice its pull on the agreement expected (Gwet 2014; no finite-population correction)."""
    twice = rated.sum(1) >= 2
    if not twice.any() or 1 - expected < 1e-12:  # one, but for rounding
        return None
    agreeing = pairwise(rated[twice])
    observed = float(agreeing.mean())
    coefficient = (observed - expected) / (1 - expected)
    each = np.zeros(len(rated))
    each[twice] = (agreeing - expected) / (1 - expected) * len(rated) / twice.sum()
    each -= 2 * (1 - coefficient) * (by_animal - expected) / (1 - expected)
    n = len(rated)
    se = sqrt(float(((each - coefficient) ** 2).sum()) / (n * (n - 1))) if n > 1 else 0.0
    half = normal_quantile(level) * se
    return Agreement(coefficient, observed, expected, se, (coefficient - half, coefficient + half))


def rated_animals(table: Table, at_least: int = 1) -> FloatArray:
    """The rows of animals that so many examiners answered on."""
    counts = np.asarray(table, np.float64)
    return np.asarray(counts[counts.sum(1) >= at_least])


def answer_shares(rated: FloatArray) -> FloatArray:
    """Each answer's share, every animal weighing the same."""
    return np.asarray((rated / rated.sum(1, keepdims=True)).mean(0))


def pairwise(rated: FloatArray) -> FloatArray:
    """The share of pairs of examiners that agree on each animal."""
    raters = rated.sum(1)
    return np.asarray((rated * (rated - 1)).sum(1) / (raters * (raters - 1)))

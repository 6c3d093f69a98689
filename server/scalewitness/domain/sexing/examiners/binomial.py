"""Exact tests and intervals for one proportion.

Names follow the literature: Clopper and Pearson 1934; Wilson 1927; Agresti and Coull 1998;
Brown, Cai and DasGupta 2001 for the Jeffreys interval and its modified ends.
"""

from collections.abc import Callable
from math import sqrt

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln, ndtri, xlog1py, xlogy

from scalewitness.domain.sexing.examiners.beta import LEVEL, quantile

Interval = tuple[float, float]

_TIE = 1e-7
"""Outcomes this much likelier still count as no likelier (relative; as R's binom.test
does, so that rounding never drops the mirror image of what was seen)."""


def log_chances(n: int, p: float) -> npt.NDArray[np.float64]:
    """Natural log of the binomial chance of 0, 1, … n of n."""
    k = np.arange(n + 1)
    ways = gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0)
    return np.asarray(ways + xlogy(k, p) + xlog1py(n - k, -p))


def two_sided(k: int, n: int, p: float = 0.5) -> float:
    """Exact two-sided p-value: all outcomes no likelier than k (method of small p-values)."""
    chances = np.exp(log_chances(n, p))
    return min(1.0, float(chances[chances <= chances[k] * (1 + _TIE)].sum()))


def clopper_pearson(k: int, n: int, level: float = LEVEL) -> Interval:
    """The exact interval: covers at least ``level`` whatever the proportion."""
    tail = (1 - level) / 2
    low = 0.0 if k == 0 else quantile((k, n - k + 1), tail)
    return low, 1.0 if k == n else quantile((k + 1, n - k), 1 - tail)


def wilson(k: int, n: int, level: float = LEVEL) -> Interval:
    """The score interval."""
    z = normal_quantile(level)
    middle, shrunk = k + z * z / 2, n + z * z
    half = z * sqrt(k * (n - k) / n + z * z / 4)
    low, high = (middle - half) / shrunk, (middle + half) / shrunk
    return 0.0 if k == 0 else low, 1.0 if k == n else high


def jeffreys(k: int, n: int, level: float = LEVEL) -> Interval:
    """Equal tails of Beta(k + ½, n − k + ½)."""
    tail = (1 - level) / 2
    posterior = (k + 0.5, n - k + 0.5)
    return quantile(posterior, tail), quantile(posterior, 1 - tail)


def jeffreys_modified(k: int, n: int, level: float = LEVEL) -> Interval:
    """The Jeffreys interval reaching 0 when nothing and 1 when everything was counted."""
    low, high = jeffreys(k, n, level)
    return 0.0 if k == 0 else low, 1.0 if k == n else high


def agresti_coull(k: int, n: int, level: float = LEVEL) -> Interval:
    """Wald about the Wilson middle, cut to [0, 1]."""
    z = normal_quantile(level)
    shrunk = n + z * z
    middle = (k + z * z / 2) / shrunk
    half = z * sqrt(middle * (1 - middle) / shrunk)
    return max(0.0, middle - half), min(1.0, middle + half)


def normal_quantile(level: float) -> float:
    """The z that holds ``level`` of a standard normal between −z and z."""
    return float(ndtri((1 + level) / 2))


INTERVALS: dict[str, Callable[[int, int, float], Interval]] = {
    "clopper_pearson": clopper_pearson,
    "wilson": wilson,
    "jeffreys": jeffreys,
    "jeffreys_modified": jeffreys_modified,
    "agresti_coull": agresti_coull,
}

"""Clutches that differ more than chance allows: the beta-binomial distribution.

The share of males varies between clutches with mean μ and intraclass correlation
ρ = 1 / (α + β + 1), α = μ/θ, β = (1 − μ)/θ, θ = ρ / (1 − ρ); θ = 0 is the binomial.
The likelihood is written as products over successive eggs (Griffiths 1973, Biometrics 29),
which needs no gamma functions and stays exact down to θ = 0.
"""

from collections.abc import Callable, Sequence
from math import inf, sqrt

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.special import chdtrc, gammaln, ndtr, xlogy

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_MOST = 1 - 1e-9
"""The greatest ρ looked at: every clutch is then of one sex for all purposes."""
_LOOK_AT = (0.0, *(float(rho) for rho in np.geomspace(1e-4, 0.6, 20)), 0.8, 0.95, 0.999, _MOST)
"""Where the search for ρ begins: the best of these and its neighbours enclose the maximum."""
_NARROW = 1e-11
"""The search ends with μ and ρ this narrowly known, far inside their standard errors."""


class BetaBinomial(Struct, frozen=True):
    """A fit: mean share of males, intraclass correlation, log-likelihood with the
    binomial coefficients in it. ``alpha`` and ``beta`` are infinite without
    overdispersion."""

    mean: float
    rho: float
    log_likelihood: float

    @property
    def alpha(self) -> float:
        return self.mean * _precision(self.rho)

    @property
    def beta(self) -> float:
        return (1 - self.mean) * _precision(self.rho)


class ClutchCounts(Struct, frozen=True, eq=False):
    """Males and sexed eggs of each clutch, and how many such clutches there are."""

    males: IntArray
    eggs: IntArray
    number: FloatArray

    @property
    def share(self) -> float:
        """Males among all the eggs."""
        return float(self.number @ self.males) / float(self.number @ self.eggs)


def clutches(males: Sequence[int], eggs: Sequence[int], number: Sequence[int] = ()) -> ClutchCounts:
    """Clutches from counts; each stands for one unless ``number`` says otherwise. Raises
    ValueError when nothing was sexed or more males than eggs are given."""
    k, n = np.asarray(males, np.int64), np.asarray(eggs, np.int64)
    times = np.asarray(number or np.ones(k.size), np.float64)
    if (k < 0).any() or (k > n).any() or times @ n <= 0:
        raise ValueError("a clutch has from no male to all males, and one egg at least")
    return ClutchCounts(k, n, times)


def moments(of: ClutchCounts) -> BetaBinomial:
    """Method of moments: ρ from the excess of Pearson's statistic over its value for a
    binomial, the population variance taken (for equal clutches the textbook estimator)."""
    mean = of.share
    pearson = _pearson(of, mean)
    pairs = float(of.number @ (of.eggs - 1).clip(0))
    rho = (pearson - float(of.number @ (of.eggs > 0))) / pairs if pairs else 0.0
    rho = min(max(rho, 0.0), _MOST)
    return _fitted(of, mean, rho)


def most_likely(of: ClutchCounts, mean: float | None = None) -> BetaBinomial:
    """Maximum likelihood, over ρ alone where ``mean`` is given."""
    tails = _tails(of)

    def at(theta: float) -> float:
        return _best_mean(tails, of.share, theta) if mean is None else mean

    def height(rho: float) -> float:
        return _chance(tails, at(_theta(rho)), _theta(rho))

    def slope(rho: float) -> float:
        return _theta_score(tails, at(_theta(rho)), _theta(rho))

    rho = _summit(height, slope)
    return _fitted(of, at(_theta(rho)), rho)


def against_mean(of: ClutchCounts, mean: float = 0.5) -> float:
    """p-value of the likelihood-ratio test of a mean share, overdispersion free in both
    (chi-squared, one degree of freedom: an approximation that wants many clutches)."""
    gain = most_likely(of).log_likelihood - most_likely(of, mean).log_likelihood
    return float(chdtrc(1, max(0.0, 2 * gain)))


def expected(fit: BetaBinomial, eggs: int, number: float) -> FloatArray:
    """Expected clutches with 0, 1, … ``eggs`` males among ``number`` clutches."""
    r, theta = np.arange(float(eggs)), _theta(fit.rho)
    males = _running(fit.mean + r * theta)
    females = _running(1 - fit.mean + r * theta)
    ways = _log_ways(np.arange(eggs + 1), np.full(eggs + 1, eggs))
    logs = ways + males + females[::-1] - _running(1 + r * theta)[-1]
    return np.asarray(number * np.exp(logs))


def tarone(of: ClutchCounts) -> float:
    """Tarone's Z (1979, Biometrika 66): standard normal under the binomial, large and
    positive with overdispersion; 0 where no clutch has two eggs."""
    pairs = float(of.number @ (of.eggs * (of.eggs - 1)))
    if not pairs:
        return 0.0
    mean = of.share
    if not 0 < mean < 1:
        return 0.0
    spread = float(of.number @ (of.males - of.eggs * mean) ** 2) / (mean * (1 - mean))
    return (spread - float(of.number @ of.eggs)) / sqrt(2 * pairs)


def overdispersed(of: ClutchCounts) -> float:
    """One-sided p-value of Tarone's Z."""
    return float(ndtr(-tarone(of)))


def _precision(rho: float) -> float:
    return 1 / _theta(rho) if rho > 0 else inf


def _theta(rho: float) -> float:
    return rho / (1 - rho)


def _pearson(of: ClutchCounts, mean: float) -> float:
    variance = of.eggs * mean * (1 - mean)
    used = variance > 0
    excess = (of.males - of.eggs * mean)[used] ** 2 / variance[used]
    return float(of.number[used] @ excess)


class _Tails(Struct, frozen=True, eq=False):
    """How many clutches have more than r males, females, eggs, for r = 0, 1, …"""

    r: FloatArray
    males: FloatArray
    females: FloatArray
    eggs: FloatArray


def _tails(of: ClutchCounts) -> _Tails:
    r = np.arange(float(of.eggs.max()))

    def more(counts: IntArray) -> FloatArray:
        return np.asarray((counts[None, :] > r[:, None]) @ of.number)

    return _Tails(r, more(of.males), more(of.eggs - of.males), more(of.eggs))


def _best_mean(tails: _Tails, start: float, theta: float) -> float:
    """The likeliest μ for that θ: Newton on a slope that falls from end to end, kept inside
    what is known to hold its root."""
    low, mean, high = 0.0, start, 1.0
    step = 1.0 if 0 < start < 1 else 0.0
    while abs(step) > _NARROW and high - low > _NARROW:
        males, females = mean + tails.r * theta, 1 - mean + tails.r * theta
        rises, falls = tails.males / males, tails.females / females
        slope = float(rises.sum() - falls.sum())
        step = slope / float((rises / males).sum() + (falls / females).sum())
        low, high = (mean, high) if slope > 0 else (low, mean)
        step = step if low < mean + step < high else (low + high) / 2 - mean
        mean += step
    return mean


def _theta_score(tails: _Tails, mean: float, theta: float) -> float:
    """Slope of the log-likelihood in θ; r = 0 has no part in it, and θ none where all
    eggs are of one sex."""
    if not 0 < mean < 1:
        return 0.0
    r = tails.r[1:]
    males = tails.males[1:] / (mean + r * theta)
    females = tails.females[1:] / (1 - mean + r * theta)
    return float(r @ (males + females - tails.eggs[1:] / (1 + r * theta)))


def _summit(height: Callable[[float], float], slope: Callable[[float], float]) -> float:
    """Where the likelihood is highest. Few and unequal clutches can give it two summits, so
    it is first looked at all along; then the best stretch is halved by its slope."""
    best = max(range(len(_LOOK_AT)), key=lambda at: height(_LOOK_AT[at]))
    low, high = _LOOK_AT[max(best - 1, 0)], _LOOK_AT[min(best + 1, len(_LOOK_AT) - 1)]
    middle = _LOOK_AT[best]
    while high - low > _NARROW:
        low, high = (middle, high) if slope(middle) > 0 else (low, middle)
        middle = (low + high) / 2
    return middle if middle > _NARROW else 0.0


def _fitted(of: ClutchCounts, mean: float, rho: float) -> BetaBinomial:
    ways = float(of.number @ _log_ways(of.males, of.eggs))
    return BetaBinomial(mean, rho, ways + _chance(_tails(of), mean, _theta(rho)))


def _chance(tails: _Tails, mean: float, theta: float) -> float:
    """The log-likelihood without the binomial coefficients."""
    logs = xlogy(tails.males, mean + tails.r * theta)
    logs += xlogy(tails.females, 1 - mean + tails.r * theta)
    return float((logs - xlogy(tails.eggs, 1 + tails.r * theta)).sum())


def _log_ways(k: IntArray, n: IntArray) -> FloatArray:
    return np.asarray(gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0))


def _running(values: FloatArray) -> FloatArray:
    """Sums of the logs of none, one, two, … of the values; values of 0 are allowed."""
    with np.errstate(divide="ignore"):
        return np.concatenate([[0.0], np.cumsum(np.log(values))])

"""A Beta distribution over a rate: what it says, and how counts move it.

Conjugate updating of a binomial rate (Gelman et al., Bayesian Data Analysis, section 2.4).
Quantiles and tails are the incomplete beta function and its inverse.
"""

from math import comb, exp, log, sqrt
from typing import Final

from msgspec import Struct
from scipy.special import betainc, betaincc, betaincinv, betaln

from scalewitness.domain.sexing.likelihood import combine
from scalewitness.domain.sexing.records import Beta
from scalewitness.domain.sexing.tables import table

LEVEL: Final = float(table("examiners.toml")["interval.level"]["value"])
"""Coverage of every interval unless said otherwise."""


class Summary(Struct, frozen=True):
    """A Beta(a, b) in numbers, all between 0 and 1. ``mode`` is None where the density has
    no single highest point; ``low`` and ``high`` cut off equal tails."""

    a: float
    b: float
    mean: float
    sd: float
    mode: float | None
    median: float
    low: float
    high: float
    level: float


def updated(prior: Beta, hits: int, misses: int) -> Beta:
    """The posterior after counting. Raises ValueError for counts below zero."""
    if hits < 0 or misses < 0:
        raise ValueError("counts cannot be negative")
    return prior[0] + hits, prior[1] + misses


def summary(of: Beta, level: float = LEVEL) -> Summary:
    """Mean, spread and equal-tailed interval."""
    a, b = of
    low, high = interval(of, level)
    variance = a * b / ((a + b) ** 2 * (a + b + 1))
    return Summary(
        a, b, a / (a + b), sqrt(variance), _mode(a, b), quantile(of, 0.5), low, high, level
    )


def interval(of: Beta, level: float = LEVEL) -> tuple[float, float]:
    """Equal-tailed interval holding ``level`` of the distribution."""
    tail = (1 - level) / 2
    return quantile(of, tail), quantile(of, 1 - tail)


def quantile(of: Beta, share: float) -> float:
    """The rate with that share of the distribution below it."""
    return float(betaincinv(of[0], of[1], share))


def below(of: Beta, rate: float) -> float:
    """The probability of a rate under the one given."""
    return float(betainc(of[0], of[1], rate))


def above(of: Beta, rate: float) -> float:
    """The probability of a rate over the one given, exact far out in the tail too."""
    return float(betaincc(of[0], of[1], rate))


def predictive(of: Beta, trials: int) -> tuple[float, ...]:
    """Chance of 0, 1, … ``trials`` hits in that many further trials (beta-binomial)."""
    a, b = of
    whole = betaln(a, b)
    return tuple(
        exp(log(comb(trials, hits)) + float(betaln(a + hits, b + trials - hits) - whole))
        for hits in range(trials + 1)
    )


def repeated_calls(accuracy: Beta, calls: int, agreeing: int, prior: float = 0.5) -> float:
    """The probability of the sex that ``agreeing`` of ``calls`` by one examiner named.

    The examiner's accuracy is unknown but the same for both sexes and for all the calls,
    so it is integrated out: repeats by one person are worth less than as many by others.
    """
    a, b = accuracy
    other = calls - agreeing
    right, wrong = betaln(a + agreeing, b + other), betaln(a + other, b + agreeing)
    return combine([(float(right), float(wrong))], prior)


def _mode(a: float, b: float) -> float | None:
    if a > 1 and b > 1:
        return (a - 1) / (a + b - 2)
    if a <= 1 < b:
        return 0.0
    return 1.0 if b <= 1 < a else None

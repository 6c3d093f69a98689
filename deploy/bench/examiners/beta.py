"""What more a Beta distribution over a rate says: its summary, its tails, the calls to come.

Gelman et al., Bayesian Data Analysis, section 2.4. Tails are the incomplete beta function.
"""

from math import comb, exp, log, sqrt

from msgspec import Struct
from scipy.special import betainc, betaincc, betaln

from scalewitness.domain.sexing.examiners.beta import LEVEL, interval, quantile
from scalewitness.domain.sexing.likelihood import combine
from scalewitness.domain.sexing.records import Beta


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


def summary(of: Beta, level: float = LEVEL) -> Summary:
    """Mean, spread and equal-tailed interval."""
    a, b = of
    low, high = interval(of, level)
    variance = a * b / ((a + b) ** 2 * (a + b + 1))
    return Summary(
        a, b, a / (a + b), sqrt(variance), _mode(a, b), quantile(of, 0.5), low, high, level
    )


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

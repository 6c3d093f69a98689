"""A Beta distribution over a rate: what it says, and how counts move it.

Conjugate updating of a binomial rate (Gelman et al., Bayesian Data Analysis, section 2.4).
Quantiles are the inverse of the incomplete beta function.
"""

from typing import Final

from scipy.special import betaincinv

from scalewitness.domain.sexing.records import Beta
from scalewitness.domain.sexing.tables import table

LEVEL: Final = float(table("examiners.toml")["interval.level"]["value"])
"""Coverage of every interval unless said otherwise."""


def updated(prior: Beta, hits: int, misses: int) -> Beta:
    """The posterior after counting. Raises ValueError for counts below zero."""
    if hits < 0 or misses < 0:
        raise ValueError("counts cannot be negative")
    return prior[0] + hits, prior[1] + misses


def interval(of: Beta, level: float = LEVEL) -> tuple[float, float]:
    """Equal-tailed interval holding ``level`` of the distribution."""
    tail = (1 - level) / 2
    return quantile(of, tail), quantile(of, 1 - tail)


def quantile(of: Beta, share: float) -> float:
    """The rate with that share of the distribution below it."""
    return float(betaincinv(of[0], of[1], share))

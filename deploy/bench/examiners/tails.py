"""Tails of the binomial, and two-sided p-values from the smaller one."""

import numpy as np
from scipy.special import bdtr, bdtrc

from scalewitness.domain.sexing.examiners.binomial import log_chances


def at_least(k: int, n: int, p: float = 0.5) -> float:
    """The chance of k or more of n."""
    return 1.0 if k == 0 else float(bdtrc(k - 1, n, p))


def at_most(k: int, n: int, p: float = 0.5) -> float:
    """The chance of k or fewer of n."""
    return float(bdtr(k, n, p))


def doubled_tail(k: int, n: int, p: float = 0.5) -> float:
    """Twice the smaller tail, at most one."""
    return min(1.0, 2 * min(at_least(k, n, p), at_most(k, n, p)))


def mid_p(k: int, n: int, p: float = 0.5) -> float:
    """Twice the smaller tail with half the weight of k itself (Lancaster 1961)."""
    half = float(np.exp(log_chances(n, p)[k])) / 2
    return min(1.0, 2 * (min(at_least(k, n, p), at_most(k, n, p)) - half))

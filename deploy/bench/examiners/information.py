"""How well a pooled fit does for the parameters it spends (Akaike 1974; Schwarz 1978)."""

from math import log

from scalewitness.domain.sexing.examiners.pool import PoolFit


def aic(found: PoolFit) -> float:
    """Akaike's criterion: smaller is better."""
    return 2 * found.parameters - 2 * found.log_likelihood


def bic(found: PoolFit) -> float:
    """Schwarz's criterion, which counts the animals: smaller is better."""
    return log(found.animals) * found.parameters - 2 * found.log_likelihood

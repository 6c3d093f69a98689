"""Do two examiners agree beyond chance? Cohen's kappa, plain and weighted.

Cohen 1960 and 1968; standard errors of Fleiss, Cohen and Everitt 1969. Kappa falls when one
answer is rare although the examiners agree as often as before (Feinstein and Cicchetti
1990), so the share of agreement is always given with it.
"""

from collections.abc import Sequence
from math import sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.special import ndtr

from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.binomial import Interval, normal_quantile

FloatArray = npt.NDArray[np.float64]
Weights = Literal["linear", "quadratic"] | Sequence[Sequence[float]]


class Cohen(Struct, frozen=True):
    """Kappa of two examiners over ``n`` animals.

    ``observed`` and ``expected`` are (weighted) shares of agreement, ``most`` the largest
    kappa the two margins allow. ``se`` is the asymptotic standard error, ``se_1960`` Cohen's
    first approximation (None when weighted), ``se_null`` the one under no agreement beyond
    chance, to which ``z`` and the two-sided ``p`` belong.
    """

    n: float
    observed: float
    expected: float
    kappa: float
    most: float
    se: float
    se_1960: float | None
    interval: Interval
    se_null: float
    z: float
    p: float


def cohen(
    table: Sequence[Sequence[float]], weights: Weights | None = None, level: float = LEVEL
) -> Cohen | None:
    """Kappa of a square table, rows the first examiner's answers, columns the second's.

    ``weights`` are similarities, one on the diagonal. None when both always gave the one
    same answer: chance and examiners are then indistinguishable. Raises ValueError for a
    table that is not square, has nothing in it or does not fit the weights.
    """
    counts = np.asarray(table, np.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or counts.sum() <= 0:
        raise ValueError("agreement needs a square table with something in it")
    n, shares = float(counts.sum()), counts / counts.sum()
    similar = _similarity(weights, counts.shape[0])
    rows, columns = shares.sum(1), shares.sum(0)
    expected = float(rows @ similar @ columns)
    if 1 - expected < 1e-12:  # one, but for rounding
        return None
    observed = float((similar * shares).sum())
    kappa = (observed - expected) / (1 - expected)
    se, se_null = _standard_errors(shares, similar, expected, kappa, n)
    half, z = normal_quantile(level) * se, kappa / se_null if se_null else 0.0
    first = sqrt(observed * (1 - observed) / n) / (1 - expected)
    return Cohen(
        n=n,
        observed=observed,
        expected=expected,
        kappa=kappa,
        most=(float(np.minimum(rows, columns).sum()) - float(rows @ columns))
        / (1 - float(rows @ columns)),
        se=se,
        se_1960=first if weights is None else None,
        interval=(kappa - half, kappa + half),
        se_null=se_null,
        z=z,
        p=2 * float(ndtr(-abs(z))),
    )


def _similarity(weights: Weights | None, classes: int) -> FloatArray:
    if weights is None:
        return np.eye(classes)
    if isinstance(weights, str):
        steps = np.arange(classes)
        apart = np.abs(steps[:, None] - steps[None, :]) / max(classes - 1, 1)
        return np.asarray(1.0 - apart ** (1 if weights == "linear" else 2))
    given = np.asarray(weights, np.float64)
    if given.shape != (classes, classes):
        raise ValueError("the weights do not fit the table")
    return given


def _standard_errors(
    shares: FloatArray, similar: FloatArray, expected: float, kappa: float, n: float
) -> tuple[float, float]:
    """With the kappa found, and under no agreement beyond chance."""
    rows, columns = shares.sum(1), shares.sum(0)
    usual = (similar @ columns)[:, None] + (similar.T @ rows)[None, :]
    scale = sqrt(n) * (1 - expected)
    found = float((shares * (similar - usual * (1 - kappa)) ** 2).sum())
    found -= (kappa - expected * (1 - kappa)) ** 2
    null = float((np.outer(rows, columns) * (similar - usual) ** 2).sum()) - expected**2
    return sqrt(max(0.0, found)) / scale, sqrt(max(0.0, null)) / scale

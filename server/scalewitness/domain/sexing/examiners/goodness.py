"""Several people's counts against one another, and any counts against expected ones.

Pearson's X² and the likelihood ratio G², both referred to chi-squared.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct
from scipy.special import chdtrc, xlogy

Counts = Sequence[int] | Sequence[float] | npt.NDArray[np.float64]


class GoodnessOfFit(Struct, frozen=True):
    """Chi-squared and likelihood-ratio statistics with their upper-tail p-values."""

    chi2: float
    g2: float
    df: int
    p_chi2: float
    p_g2: float


def heterogeneity(table: Sequence[Counts]) -> GoodnessOfFit:
    """Do the rows share one distribution? Rows are people or clutches, columns classes."""
    seen = np.asarray(table, float)
    expected = np.outer(seen.sum(1), seen.sum(0)) / seen.sum()
    rows, columns = seen.shape
    return goodness(seen, expected, (rows - 1) * (columns - 1))


def goodness(
    seen: npt.NDArray[np.float64], expected: npt.NDArray[np.float64], df: int
) -> GoodnessOfFit:
    """Counts against expected ones at so many degrees of freedom. Cells that nothing is
    expected in must be empty and say nothing."""
    used = expected > 0
    if (seen[~used] > 0).any():
        raise ValueError("something was counted where nothing can be")
    seen, expected = seen[used], expected[used]
    chi2 = float(((seen - expected) ** 2 / expected).sum())
    g2 = max(0.0, 2 * float(xlogy(seen, seen / expected).sum()))
    return GoodnessOfFit(chi2, g2, df, float(chdtrc(df, chi2)), float(chdtrc(df, g2)))

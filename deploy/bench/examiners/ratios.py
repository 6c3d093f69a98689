"""Counts against a ratio laid down beforehand, by Pearson's X² and the likelihood ratio."""

from collections.abc import Sequence

import numpy as np

from scalewitness.domain.sexing.examiners.goodness import Counts, GoodnessOfFit, goodness


def against_ratio(counts: Counts, ratio: Sequence[float]) -> GoodnessOfFit:
    """Do the counts fit a ratio laid down beforehand, as 1:1 or 9:3:3:1?"""
    seen, shares = np.asarray(counts, float), np.asarray(ratio, float)
    return against_expected(seen, seen.sum() * shares / shares.sum())


def against_expected(counts: Counts, expected: Counts, estimated: int = 0) -> GoodnessOfFit:
    """Do the counts fit expected ones, of which ``estimated`` parameters came from them?"""
    seen, awaited = np.asarray(counts, float), np.asarray(expected, float)
    return goodness(seen, awaited, seen.size - 1 - estimated)

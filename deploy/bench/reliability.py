"""Whether probabilities come true: animals by how probable their favoured sex was, and how many
such bins hold where every probability is exactly right."""

import sys
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from bench.calibration import Kept
from scalewitness.domain.sexing.examiners.beta import LEVEL
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson

EDGES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.0)
PLAYED = 100
"""How often a right model is played."""


class Bin(Kept):
    """Animals whose favoured sex had a probability in this range."""

    @property
    def holds(self) -> bool:
        """Whether the exact 95 % interval of the share right holds what was expected."""
        return self.holds_at(LEVEL)

    def holds_at(self, level: float) -> bool:
        low, high = _interval(self.right, self.count, level)
        return low <= self.expected <= high

    @property
    def inside(self) -> str:
        """The same in words, with the way in which it does not."""
        if self.holds:
            return "yes"
        return "too sure" if self.right < self.count * self.expected else "too cautious"


_interval = lru_cache(maxsize=65_536)(clopper_pearson)


def reliability(p_male: np.ndarray, male: np.ndarray) -> list[Bin]:
    """The bins in which there are animals; those that favour no sex are in none."""
    share, right, known = np.maximum(p_male, 1 - p_male), (p_male > 0.5) == male, p_male != 0.5
    return list(_filled(share, right, known))


def _filled(share: np.ndarray, right: np.ndarray, known: np.ndarray) -> Iterator[Bin]:
    for low, high in pairwise(EDGES):
        inside = known & (share > low) & (share <= high)
        if inside.any():
            yield Bin(
                low, high, int(inside.sum()), float(share[inside].mean()), int(right[inside].sum())
            )


def hold_if_right(p_male: np.ndarray, rng: np.random.Generator) -> list[int]:
    """How many of the bins hold, each time that every animal is a male as often as it says. More
    than 95 in 100 do: an exact interval of a count is never too narrow, so mostly too wide."""
    played = (reliability(p_male, rng.random(p_male.size) < p_male) for _ in range(PLAYED))
    return [sum(one.holds for one in bins) for bins in played]

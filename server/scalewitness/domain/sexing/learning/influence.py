"""How much each check counts, so that no account moves a number far.

An examiner's checks share their habits, so many of them say less than as many of different
people: n count as n / (1 + (n - 1)·ρ), the design effect of a cluster sample (Kish 1965). What
is left of an examiner's, and then of a collection's, is cut to a share of all that the number
rests on, what was held before included.
"""

from collections.abc import Sequence
from math import inf

import numpy as np
import numpy.typing as npt

from scalewitness.domain.sexing.learning.rules import rule

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


def influence(
    examiners: Sequence[str], collections: Sequence[str], before: float, most: float, alike: float
) -> FloatArray:
    """The weight of each check, at most 1. ``before`` is the weight of what was held, ``most``
    the share of the whole that one account may have, ``alike`` ρ."""
    people, number = _numbered(examiners)
    checks = np.bincount(people, minlength=number)
    each = (1 / (1 + (checks - 1) * alike))[people]
    each *= _cut(people, number, each, before, most)
    homes, number = _numbered(collections)
    return np.asarray(each * _cut(homes, number, each, before, most))


def most_each(weights: FloatArray, before: float, most: float) -> float:
    """The most that one account may weigh: that share of the whole, once all who weigh more are
    cut to it. Infinite where none does."""
    if not weights.size or weights.max() <= most * (before + weights.sum()):
        return inf
    falling = np.sort(weights)[::-1]
    below = weights.sum() - falling.cumsum()
    above = np.arange(1, falling.size + 1)
    usable = most * above < 1
    level = most * (before + below[usable]) / (1 - most * above[usable])
    following = np.append(falling[1:], 0.0)[usable]
    return float(level[np.argmax(level >= following)])


def _cut(of: IntArray, number: int, each: FloatArray, before: float, most: float) -> FloatArray:
    """By how much each check is cut so that its account keeps to its share."""
    total = np.bincount(of, each, minlength=number).astype(np.float64)
    kept = np.minimum(1.0, most_each(total, before, most) / np.maximum(total, 1e-12))
    return np.asarray(kept[of])


def _numbered(keys: Sequence[str]) -> tuple[IntArray, int]:
    places = {key: n for n, key in enumerate(sorted(set(keys)))}
    return np.array([places[key] for key in keys], np.int64), len(places)


def enough(animals: int, collections: int, examiners: int) -> bool:
    """Whether there is enough to learn a number from at all."""
    return (
        animals >= rule("least", "animals")
        and collections >= rule("least", "collections")
        and examiners >= rule("least", "examiners")
    )

"""Expectation–maximisation up a likelihood, with leaps where it creeps.

Near a maximum EM moves by ever smaller steps in much the same direction. Squared
extrapolation (SQUAREM, scheme S3: Varadhan and Roland 2008, Scandinavian Journal of
Statistics 35) leaps along it and takes an EM step from there. A leap is kept only if the
likelihood is no lower than before it, and none is tried far from a maximum, so the climb
ends at the maximum that plain EM ends at.
"""

from collections.abc import Callable
from math import inf
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Step = Callable[[FloatArray], tuple[FloatArray, float]]
"""One EM step: the next parameters, and the log-likelihood of those given."""

STILL = 1e-9
"""The climb ends when no parameter moves by more in an EM step …"""
LEVEL = 1e-12
"""… and the log-likelihood by no larger share of itself."""
MOST_STEPS = 20_000
_NEAR = 0.01
"""Leaps start once an EM step moves every parameter by less."""


class Climb(NamedTuple):
    """Where a climb ended. ``heights`` are the log-likelihoods at the start of every EM
    step; ``converged`` is false when it ran out of steps."""

    parameters: FloatArray
    heights: tuple[float, ...]
    steps: int
    converged: bool


def climb(
    step: Step,
    start: FloatArray,
    *,
    inside: Callable[[FloatArray], FloatArray] | None = None,
    still: float = STILL,
    level: float = LEVEL,
    most: int = MOST_STEPS,
) -> Climb:
    """Climb from ``start``. ``inside`` brings parameters back to where they may be after a
    leap; without it there are no leaps and this is plain EM."""
    here, heights, last = start, list[float](), -inf
    while len(heights) < most:
        there, height = step(here)
        heights.append(height)
        moved = _largest(there - here)
        if moved <= still and abs(height - last) <= level * max(1.0, abs(height)):
            return Climb(there, tuple(heights), len(heights), True)
        last = height
        if inside is not None and moved < _NEAR:
            there, last = _leap(step, here, there, inside, heights)
        here = there
    return Climb(here, tuple(heights), len(heights), False)


def _leap(
    step: Step,
    first: FloatArray,
    second: FloatArray,
    inside: Callable[[FloatArray], FloatArray],
    heights: list[float],
) -> tuple[FloatArray, float]:
    """From two points of the climb to one further up, and the last height met."""
    third, height = step(second)
    heights.append(height)
    move = second - first
    bend = third - second - move
    size = float(np.linalg.norm(bend))
    stretch = float(np.linalg.norm(move)) / size if size > 0 else 1.0
    if stretch <= 1:
        return third, height
    target = inside(first + 2 * stretch * move + stretch**2 * bend)
    landed, reached = step(target)
    heights.append(reached)
    return (landed, reached) if reached >= height else (third, height)


def _largest(moves: FloatArray) -> float:
    return float(np.abs(moves).max())

"""What a sequential test does exactly, call by call, also when it is cut short.

Wald's formulas take the lines to be hit exactly; counts overshoot them. Here the chances
of all undecided counts are carried forward from call to call.
"""

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from scalewitness.domain.sexing.examiners.sprt import (
    SequentialPlan,
    accept_at_most,
    reject_at_least,
)

FloatArray = npt.NDArray[np.float64]

_GONE = 1e-13
"""An open-ended test is followed until no more than this chance is undecided."""


class Operating(Struct, frozen=True):
    """Chances of each end at one error rate, and the calls it takes on average; runs cut
    short count with all their calls."""

    qualified: float
    not_qualified: float
    undecided: float
    expected_calls: float


def operating(
    plan: SequentialPlan, rate: float, first: int = 1, last: int | None = None
) -> Operating:
    """Exact operating characteristics of the test judged after every call from ``first``
    to ``last``, open-ended without it (every such test ends, the nearer p0 and p1 the later)."""
    undecided = np.ones(1)
    offset = calls = 0
    qualified = turned_down = expected = 0.0
    while undecided.sum() > (_GONE if last is None else 0.0) and calls != last:
        expected += float(undecided.sum())
        calls += 1
        undecided = _one_more(undecided, rate)
        if calls >= first:
            few, undecided, many, offset = _split(plan, undecided, offset, calls)
            qualified, turned_down = qualified + few, turned_down + many
    return Operating(qualified, turned_down, float(undecided.sum()), expected)


def _one_more(chances: FloatArray, rate: float) -> FloatArray:
    """Chances of the counts offset, offset + 1, … after one more call."""
    after = np.zeros(chances.size + 1)
    after[:-1] = chances * (1 - rate)
    after[1:] += chances * rate
    return after


def _split(
    plan: SequentialPlan, chances: FloatArray, offset: int, calls: int
) -> tuple[float, FloatArray, float, int]:
    """Chance qualified, what stays undecided, chance turned down, the new first count."""
    most, least = accept_at_most(plan, calls), reject_at_least(plan, calls)
    low = 0 if most is None else min(max(most + 1 - offset, 0), chances.size)
    high = chances.size if least is None else min(max(least - offset, low), chances.size)
    few, many = float(chances[:low].sum()), float(chances[high:].sum())
    return few, chances[low:high], many, offset + low

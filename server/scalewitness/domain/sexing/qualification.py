"""When an examiner is good enough: the numbers of the sequential test, and what it still needs."""

from math import ceil
from typing import Final

from scalewitness.domain.sexing.examiners.sprt import ON_THE_LINE, SequentialPlan
from scalewitness.domain.sexing.parameters import Parameter, numbers_of
from scalewitness.domain.sexing.tables import table

_SHEET: Final = table("qualification.toml")

NUMBERS: Final[tuple[Parameter, ...]] = (
    *numbers_of("qualification", _SHEET["test"]),
    *numbers_of("qualification", _SHEET["provisional"]),
)
PLAN: Final = SequentialPlan(
    **{name: float(_SHEET["test"][name]["value"]) for name in ("p0", "p1", "alpha", "beta")}
)
LITTLE: Final = int(_SHEET["provisional"]["little"]["value"])
"""Fewer settled animals of one sex than this are little to go by."""
POOL: Final = int(_SHEET["provisional"]["pool"]["value"])
"""Animals pooled at most for a provisional rate."""


def right_calls_needed(plan: SequentialPlan, wrong: int, calls: int) -> int:
    """How many more settled calls, all of them right, would qualify; 0 once qualified."""
    enough = ceil((wrong - plan.accept_intercept) / plan.slope - ON_THE_LINE)
    return max(enough - calls, 0)

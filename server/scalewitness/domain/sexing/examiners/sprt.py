"""Is an examiner good enough? Wald's sequential probability ratio test.

Settled calls are counted one by one. An error rate of ``p0`` is good enough, one of ``p1``
is not; ``alpha`` is the chance of turning down an examiner at p0, ``beta`` of passing one
at p1. Between two lines the answer is not known yet, and only more settled calls help.
Wald 1947, Sequential Analysis; NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6.
"""

from math import ceil, floor, log, log1p
from typing import Literal

from msgspec import Struct

Decision = Literal["qualified", "not_qualified", "undecided"]

ON_THE_LINE = 1e-9
"""A count this near a line is on it, and a count on the line decides."""


class SequentialPlan(Struct, frozen=True):
    """The four numbers of a test. Raises ValueError unless 0 < p0 < p1 < 1, the errors are
    positive and together under one."""

    p0: float
    p1: float
    alpha: float
    beta: float

    def __post_init__(self) -> None:
        if not 0 < self.p0 < self.p1 < 1:
            raise ValueError("a good error rate lies below a bad one, both between 0 and 1")
        if self.alpha <= 0 or self.beta <= 0 or self.alpha + self.beta >= 1:
            raise ValueError("both errors must be positive and together under one")

    @property
    def log_a(self) -> float:
        """Natural log of the likelihood ratio that turns an examiner down."""
        return log((1 - self.beta) / self.alpha)

    @property
    def log_b(self) -> float:
        """Natural log of the likelihood ratio that qualifies one."""
        return log(self.beta / (1 - self.alpha))

    @property
    def wrong_step(self) -> float:
        """What one wrong call adds to the log likelihood ratio."""
        return log(self.p1 / self.p0)

    @property
    def right_step(self) -> float:
        """What one right call adds: below nought."""
        return log1p(-self.p1) - log1p(-self.p0)

    @property
    def k(self) -> float:
        """Log likelihood ratio between a wrong and a right call."""
        return self.wrong_step - self.right_step

    @property
    def slope(self) -> float:
        """Wrong calls by which both lines rise for each call."""
        return -self.right_step / self.k

    @property
    def accept_intercept(self) -> float:
        return self.log_b / self.k

    @property
    def reject_intercept(self) -> float:
        return self.log_a / self.k


def accept_at_most(plan: SequentialPlan, calls: int) -> int | None:
    """The most wrong calls among ``calls`` that qualify; None where none can yet."""
    most = floor(plan.slope * calls + plan.accept_intercept + ON_THE_LINE)
    return most if most >= 0 else None


def reject_at_least(plan: SequentialPlan, calls: int) -> int | None:
    """The fewest wrong calls among ``calls`` that do not; None where none can yet."""
    least = ceil(plan.slope * calls + plan.reject_intercept - ON_THE_LINE)
    return least if least <= calls else None


def decide(plan: SequentialPlan, wrong: int, calls: int) -> Decision:
    """What the counts alone say. A count beyond a line was decided when it crossed."""
    if not 0 <= wrong <= calls:
        raise ValueError("wrong calls are some of the calls")
    least, most = reject_at_least(plan, calls), accept_at_most(plan, calls)
    if least is not None and wrong >= least:
        return "not_qualified"
    return "qualified" if most is not None and wrong <= most else "undecided"

"""Is an examiner good enough? Wald's sequential probability ratio test.

Settled calls are counted one by one. An error rate of ``p0`` is good enough, one of ``p1``
is not; ``alpha`` is the chance of turning down an examiner at p0, ``beta`` of passing one
at p1. Between two lines the answer is not known yet, and only more settled calls help.
Wald 1947, Sequential Analysis; NIST/SEMATECH e-Handbook of Statistical Methods, 6.2.6.
"""

from collections.abc import Callable, Iterable
from math import ceil, exp, expm1, floor, log, log1p
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


def log_ratio(plan: SequentialPlan, wrong: int, calls: int) -> float:
    """Natural log of P(counts | p1) / P(counts | p0)."""
    return wrong * plan.wrong_step + (calls - wrong) * plan.right_step


def decide(plan: SequentialPlan, wrong: int, calls: int) -> Decision:
    """What the counts alone say. A count beyond a line was decided when it crossed; use
    :func:`first_decision` where the order is known."""
    if not 0 <= wrong <= calls:
        raise ValueError("wrong calls are some of the calls")
    least, most = reject_at_least(plan, calls), accept_at_most(plan, calls)
    if least is not None and wrong >= least:
        return "not_qualified"
    return "qualified" if most is not None and wrong <= most else "undecided"


def first_decision(plan: SequentialPlan, wrong: Iterable[bool]) -> tuple[Decision, int]:
    """The decision and the number of calls it took; with "undecided", all of them."""
    count = calls = 0
    for calls, was_wrong in enumerate(wrong, start=1):
        count += was_wrong
        decision = decide(plan, count, calls)
        if decision != "undecided":
            return decision, calls
    return "undecided", calls


def chance_qualified(plan: SequentialPlan, rate: float) -> float:
    """Operating characteristic: Wald's approximation of the chance that an examiner with
    that error rate qualifies (the lines taken to be hit exactly)."""
    h = _tilt(plan, rate)
    if abs(h) < 1e-7:  # the limit, where the quotient below is nought by nought
        return plan.log_a / (plan.log_a - plan.log_b)
    return expm1(h * plan.log_a) / (exp(h * plan.log_a) - exp(h * plan.log_b))


def expected_calls(plan: SequentialPlan, rate: float) -> float:
    """Average sample number: Wald's approximation of the calls it takes on average."""
    per_call = rate * plan.wrong_step + (1 - rate) * plan.right_step
    if abs(rate - plan.slope) < 1e-7:  # the limit, as above
        return plan.log_a * -plan.log_b / (plan.wrong_step * -plan.right_step)
    qualified = chance_qualified(plan, rate)
    return (qualified * plan.log_b + (1 - qualified) * plan.log_a) / per_call


class Lead(Struct, frozen=True):
    """Agreeing calls that must outnumber the others before a sex is taken as settled, the
    chance that it is then wrong, and the calls it takes on average. All exact."""

    lead: int
    error: float
    expected_calls: float


def lead_needed(error_rate: float, alpha: float) -> Lead:
    """How many calls one sex must be ahead, by independent examiners who all err at that
    rate for either sex, to be wrong at most ``alpha`` of the time (gambler's ruin)."""
    if not (0 < error_rate < 0.5 and 0 < alpha < 0.5):
        raise ValueError("error rate and alpha lie between 0 and one half")
    odds = log1p(-error_rate) - log(error_rate)
    lead = ceil((log1p(-alpha) - log(alpha)) / odds - ON_THE_LINE)
    error = 1 / (1 + exp(lead * odds))
    return Lead(lead, error, lead * (1 - 2 * error) / (1 - 2 * error_rate))


def _tilt(plan: SequentialPlan, rate: float) -> float:
    """The h ≠ 0 with E[exp(h · step)] = 1 at that rate: 1 at p0, −1 at p1, 0 at the slope."""

    def excess(h: float) -> float:
        return rate * expm1(h * plan.wrong_step) + (1 - rate) * expm1(h * plan.right_step)

    if not 0 < rate < 1:
        raise ValueError("a rate between 0 and 1 is needed")
    toward = 1.0 if rate < plan.slope else -1.0
    return _far_root(excess, toward)


def _far_root(excess: Callable[[float], float], toward: float) -> float:
    """The root of a convex function with another root at nought, on the side where it
    first falls below nought."""
    far = toward
    while excess(far) < 0:
        far *= 2
    near = far / 2
    while excess(near) > 0 and abs(near) > 1e-12:
        near /= 2
    for _ in range(80):  # halvings: more than a double can hold
        middle = (near + far) / 2
        near, far = (near, middle) if excess(middle) > 0 else (middle, far)
    return near

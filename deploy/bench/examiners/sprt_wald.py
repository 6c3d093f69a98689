"""A sequential test before and after it is run: Wald's approximations, and call by call.

Wald 1947, Sequential Analysis. :mod:`bench.examiners.sprt_exact` is what it does exactly.
"""

from collections.abc import Callable, Iterable
from math import ceil, exp, expm1, log, log1p

from msgspec import Struct

from scalewitness.domain.sexing.examiners.sprt import (
    ON_THE_LINE,
    Decision,
    SequentialPlan,
    decide,
)


def log_ratio(plan: SequentialPlan, wrong: int, calls: int) -> float:
    """Natural log of P(counts | p1) / P(counts | p0)."""
    return wrong * plan.wrong_step + (calls - wrong) * plan.right_step


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

"""What speaks against checking this animal today. Values in, sentences out."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from scalewitness.animals.queries import Condition

AFTER_A_MEAL = timedelta(hours=72)
"""No handling for 48 to 72 hours after a meal (a popular page; common practice)."""
WEIGHT_AGES = timedelta(days=60)
"""An older weight says little of a growing snake (our judgement)."""

_HEALTH = {
    "gravid": "It was last noted as gravid: leave it alone.",
    "ill": "It was last noted as ill: leave it alone.",
    "injured": "It was last noted as injured: leave it alone.",
    "under_treatment": "It is under treatment: leave it alone.",
}


def warnings(condition: Condition, *, hold_off: bool, now: datetime, steward: bool) -> list[str]:
    """Reasons to wait, the weightiest first. Health is for stewards only: that an animal
    is gravid would tell a blind guest its sex; the keeper's hold-off notice speaks instead."""
    return list(_warnings(condition, hold_off, now, steward))


def _warnings(condition: Condition, hold_off: bool, now: datetime, steward: bool) -> Iterable[str]:
    if hold_off:
        yield "The keeper asks everyone to leave this animal alone for now."
    if steward and condition.health in _HEALTH:
        yield _HEALTH[condition.health]
    if condition.fed_at is not None and now - condition.fed_at < AFTER_A_MEAL:
        yield "It was fed less than 72 hours ago: wait."
    if condition.shed == "opaque":
        yield "It is in shed (opaque): wait until it has shed."
    if condition.grams is None:
        yield "No weight is noted: look at its size before you choose a probe, or let it be."
    elif condition.weighed_at is not None and now - condition.weighed_at > WEIGHT_AGES:
        yield "Its last weight is more than 60 days old."

"""Calls that were taken although they came late, and what they changed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import F

from scalewitness.calls.models import Call
from scalewitness.calls.queries.held import MOST
from scalewitness.standings.models import Standing
from scalewitness.standings.queries.logged import label_of, latest_standing

LATE = timedelta(days=1)
"""Between an examination and its arrival: more than a day without a signal (our judgement)."""
SHOWN_FOR = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class Late:
    """A call that was taken late, and what the record said before and after it."""

    call: Call
    before: str
    after: str


def late_calls(collections: Iterable[UUID], now: datetime) -> list[Late]:
    """Calls on animals of these collections that arrived late in the last three months, the
    latest first."""
    calls = (
        Call.objects.filter(
            animal__collection__in=list(collections),
            received_at__gte=now - SHOWN_FOR,
            received_at__gt=F("examined_at") + LATE,
        )
        .select_related("animal__collection")
        .order_by("-position")[:MOST]
    )
    return [_with_standings(call) for call in calls]


def _with_standings(call: Call) -> Late:
    later = Standing.objects.filter(animal=call.animal_id, position__gt=call.position)
    before = latest_standing(call.animal_id, call.position)
    return Late(call, label_of(before), label_of(later.order_by("position").first()))

"""What was seen of pairings, and what is expected when."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.calendar import CalendarShown, calendar
from scalewitness.breeding.queries.calendar import seasons_seen


@operation("Show the calendar of the season", gives={200: CalendarShown})
def show_calendar(request: Request) -> Response:
    """Of pairings of animals that one holds or is a partner in, in the seasons of last year, this
    and the next. A window rests on the notes and on figures of the species, many of them of common
    practice: it is no forecast for one animal."""
    return Response(calendar(seasons_seen(keeper_of(request).pk, timezone.now())))

"""Pages as their reader is used to: their time zone, days and weights."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.domain.habits import Habits, written_for
from scalewitness.people.models import Keeper
from scalewitness.people.queries import habits_of

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


class ReadersHabits:
    """A signed-in keeper reads and types times, days and weights as their account says, anyone
    else as the record does. The API knows UTC and grams alone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/api/"):
            return self.get_response(request)
        habits = habits_of(_keeper(request))
        with timezone.override(habits.zone), written_for(habits):
            return self.get_response(request)


def _keeper(request: HttpRequest) -> Keeper | None:
    """None without a session, which then is not looked at: a buyer's page sets no cookie."""
    if settings.SESSION_COOKIE_NAME not in request.COOKIES:
        return None
    return request.user if isinstance(request.user, Keeper) else None


def as_recorded(view: View[P]) -> View[P]:
    """For receipts and the folder of a dispute, which say the same to whoever holds them: in UTC
    and grams."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        with timezone.override(Habits().zone), written_for(Habits()):
            return view(request, *args, **kwargs)

    return answer


def in_zone(label: str) -> str:
    """A field's label, with the zone in which its time is read."""
    return f"{label} ({timezone.get_current_timezone_name()})"

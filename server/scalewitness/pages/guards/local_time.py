"""Pages in their reader's time zone."""

from collections.abc import Callable
from datetime import UTC
from functools import wraps
from typing import Concatenate, ParamSpec

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from scalewitness.people.models import Keeper
from scalewitness.people.queries import zone_of

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponse]


class ReadersTime:
    """A signed-in keeper reads and types times in the zone of their account, anyone else in the
    record's own. The API knows UTC alone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/api/"):
            return self.get_response(request)
        with timezone.override(zone_of(_keeper(request))):
            return self.get_response(request)


def _keeper(request: HttpRequest) -> Keeper | None:
    """None without a session, which then is not looked at: a buyer's page sets no cookie."""
    if settings.SESSION_COOKIE_NAME not in request.COOKIES:
        return None
    return request.user if isinstance(request.user, Keeper) else None


def in_utc(view: View[P]) -> View[P]:
    """For papers and receipts, which say the same to whoever holds them."""

    @wraps(view)
    def answer(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        with timezone.override(UTC):
            return view(request, *args, **kwargs)

    return answer


def in_zone(label: str) -> str:
    """A field's label, with the zone in which its time is read."""
    return f"{label} ({timezone.get_current_timezone_name()})"

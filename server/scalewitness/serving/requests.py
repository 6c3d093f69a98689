"""What is noted of each request, for the log and the numbers: an id, its route, and for a day who.

Not its path, which may hold an animal's id or a buyer's token, nor where it came from: that stands
in the proxy's log, beside the same id, for as long as that is kept.
"""

import re
from collections.abc import Callable, Iterable
from datetime import date
from functools import lru_cache
from time import monotonic
from typing import Any, Final
from uuid import UUID, uuid4

from django.conf import settings
from django.contrib.admindocs.utils import replace_metacharacters, replace_named_groups
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.functional import SimpleLazyObject, empty
from structlog.contextvars import bind_contextvars, clear_contextvars

from scalewitness.monitoring import measures
from scalewitness.people.models import Keeper
from scalewitness.serving.admission import waits_for_change
from scalewitness.serving.line import ClientLine
from scalewitness.serving.noted import NOTED, RequestNotes

HEADER: Final = "X-Request-Id"
_WELL_FORMED: Final = re.compile(r"[0-9a-f]{8}(?:-?[0-9a-f]{4}){3}-?[0-9a-f]{12}")
"""As proxies make them: a UUID, or 16 bytes in hexadecimal."""
_TRACING: Final = ("HTTP_TRACEPARENT", "HTTP_TRACESTATE", "HTTP_BAGGAGE")
"""By these a stranger could have all that they ask traced, and under which name."""

Environ = dict[str, Any]
Start = Callable[..., Any]


class Watched:
    """WSGI middleware, around everything else: gives each request an id and measures it."""

    def __init__(self, application: Callable[[Environ, Start], Iterable[bytes]]) -> None:
        self._application = application

    def __call__(self, environ: Environ, start_response: Start) -> Iterable[bytes]:
        noted = environ[NOTED] = RequestNotes(_id(environ))
        for name in _TRACING:
            environ.pop(name, None)

        def start(status: str, headers: list[tuple[str, str]], *rest: Any) -> Any:
            noted.status = int(status[:3])
            return start_response(status, [*headers, (HEADER, noted.id)], *rest)

        began = monotonic() - ClientLine(environ).waited()
        clear_contextvars()
        bind_contextvars(request_id=noted.id)
        measures.note_process()
        try:
            return self._application(environ, start)
        finally:
            clear_contextvars()
            measures.note_answer(noted.route, noted.status, monotonic() - began)
            measures.note_process()


class NoteRequest:
    """Django's middleware, around all others: notes what only Django knows."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        noted = request.META.get(NOTED)
        if noted is not None:
            noted.route = route_of(request)
            noted.keeper = _keeper_of(request)
        return response


def route_of(request: HttpRequest) -> str:
    """One of as many words as there are routes, however many addresses somebody tries."""
    if request.resolver_match is not None:
        waits = " waiting" if waits_for_change(request.META) else ""
        return _plain(request.resolver_match.route) + waits
    return "static" if request.path.startswith(settings.STATIC_URL) else "unmatched"


def pseudonym(keeper: UUID, day: date) -> str:
    """One keeper's on one day. Whoever has the log alone cannot tell that two of two days are one
    keeper's, nor whose any is; whoever has ``SECRET_KEY`` too can try all keepers."""
    salt = f"scalewitness.log.{day.isoformat()}"
    return salted_hmac(salt, keeper.hex, algorithm="sha256").hexdigest()[:16]


def _id(environ: Environ) -> str:
    """The one that a proxy of ours made, if there is one; `TRUSTED_PROXIES` says so. What anybody
    else sends is not looked at: it would forge or join lines of the log."""
    given = str(environ.get("HTTP_X_REQUEST_ID", ""))
    trusted = settings.TRUSTED_PROXIES and _WELL_FORMED.fullmatch(given)
    return given if trusted else uuid4().hex


@lru_cache(maxsize=1024)
def _plain(route: str) -> str:
    """A route without what regular expressions say beside its names."""
    return "/" + replace_metacharacters(replace_named_groups(route)).lstrip("/")


def _keeper_of(request: HttpRequest) -> str | None:
    """Nobody is looked up for this: known are those whom the answer depended on."""
    user = getattr(request, "user", None)
    if isinstance(user, SimpleLazyObject) and user._wrapped is empty:
        return None
    return pseudonym(user.pk, timezone.now().date()) if isinstance(user, Keeper) else None

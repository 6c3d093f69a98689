"""Which requests are served, and which are told at once to come again.

A web process can do only so much at a time. Any request beyond that slows down the others,
until nobody is answered in time. So each kind of request has a room of its own: what is pushed
cannot keep anybody from reading, nor a crowd of readers a push from being taken, and a few
threads are always left to turn others away and to tell a proxy that all is well.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from threading import Lock
from time import monotonic
from typing import Any, Final

import structlog
from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.http import HttpResponse

from scalewitness.intake import turns
from scalewitness.serving.busy import API, come_again
from scalewitness.serving.line import ClientLine
from scalewitness.serving.rooms import (
    ASKING_FEED,
    READERS,
    SPARE,
    WAITING_READERS,
    Room,
    RoomEach,
)
from scalewitness.waiting import answering

log = structlog.get_logger()

STALE: Final = 5.0
"""Seconds after which a request that nobody has begun with is not begun with any more: its
client is told so while it still listens, and those behind it are served in time (our judgement)."""
TIMEOUT: Final = 4.0
"""Seconds that a reader waits for a place: less than a person does before pressing again (our
judgement)."""
_READING: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_FREE: Final = re.compile(r"/(health/|metrics$|static/)")
"""Always served: what watches this process, and files."""
_FEED: Final = "/api/v1/changes"
_WAITS: Final = re.compile(r"(?:^|&)wait=0*[1-9]")

_SAFE: Final = {
    "Content-Security-Policy": "default-src 'none'; style-src 'self'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}
"""What Django's middleware adds to other answers; an address may hold a buyer's token."""

Environ = dict[str, Any]
Start = Callable[..., Any]


class Admission:
    """WSGI middleware. ``threads``: how many the server gives to this process."""

    def __init__(self, application: WSGIHandler, threads: int) -> None:
        self._application = application
        feed = settings.FEED_WAITERS + ASKING_FEED
        writers = threads - SPARE - feed - READERS - WAITING_READERS
        self._readers = Room(READERS, WAITING_READERS)
        self._feed = Room(feed, 0)
        self._writers = Room(max(1, writers), 0)
        self._devices = RoomEach()
        self._turned_away = _Tally()
        self._cookie = re.compile(rf"(?:^|;\s*){re.escape(settings.SESSION_COOKIE_NAME)}=([^;]+)")

    def __call__(self, environ: Environ, start_response: Start) -> Iterable[bytes]:
        if _FREE.match(environ["PATH_INFO"]):
            return self._application(environ, start_response)
        line = ClientLine(environ)
        with self._admitted(environ, line) as admitted, answering(line):
            if admitted and not line.is_gone():
                return _whole(self._application(environ, start_response))
        self._turned_away.count()
        return _refuse(environ["PATH_INFO"].startswith(API), start_response)

    @contextmanager
    def _admitted(self, environ: Environ, line: ClientLine) -> Iterator[bool]:
        """Whether there is a place for it; it is kept for the block."""
        reading = environ["REQUEST_METHOD"] in _READING
        reads = self._feed if waits_for_change(environ) else self._readers
        room = reads if reading else self._writers
        if line.waited() > STALE or not room.enter(max(0.0, TIMEOUT - line.waited())):
            yield False
            return
        try:
            with self._alone(None if reading else self._device(environ), line) as alone:
                yield alone
        finally:
            room.leave()

    @contextmanager
    def _alone(self, device: str | None, line: ClientLine) -> Iterator[bool]:
        """What one device writes is taken one after the other, and of what it sends meanwhile
        one request waits: it may be a repeat of one whose answer was lost."""
        if device is None:
            yield True
            return
        alone = self._devices.enter(device, max(0.0, turns.TIMEOUT - line.waited()))
        try:
            yield alone
        finally:
            if alone:
                self._devices.leave(device)

    def _device(self, environ: Environ) -> str | None:
        """Whatever it is known by."""
        if token := environ.get("HTTP_AUTHORIZATION"):
            return str(token)
        session = self._cookie.search(environ.get("HTTP_COOKIE", ""))
        return session[1] if session else None


def waits_for_change(environ: Environ) -> bool:
    """Whether a request is to be answered only when there is something to tell."""
    asked = str(environ.get("QUERY_STRING", ""))
    return environ["PATH_INFO"] == _FEED and _WAITS.search(asked) is not None


def _whole(answer: Any) -> Iterable[bytes]:
    """An answer that is made already, and let go of: while a slow client takes it in, it keeps
    no place and no connection to the database. A file is handed on as it is."""
    if not isinstance(answer, HttpResponse):
        return answer  # type: ignore[no-any-return]
    try:
        return [answer.content]
    finally:
        answer.close()


def _refuse(api: bool, start_response: Start) -> Iterable[bytes]:
    status, headers, content = _refusal(api)
    start_response(status, list(headers))
    return [content]


@cache
def _refusal(api: bool) -> tuple[str, tuple[tuple[str, str], ...], bytes]:
    """Always in the same words, so that it costs next to nothing."""
    answer = come_again(API if api else "/")
    headers = _SAFE | dict(answer.items()) | {"Content-Length": str(len(answer.content))}
    return f"{answer.status_code} {answer.reason_phrase}", tuple(headers.items()), answer.content


class _Tally:
    """Tells the log of many alike in one line, at most once a second."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._unlogged, self._logged_at = 0, 0.0

    def count(self) -> None:
        with self._guard:
            self._unlogged += 1
            if monotonic() - self._logged_at < 1:
                return
            count, self._unlogged, self._logged_at = self._unlogged, 0, monotonic()
        log.warning("turned_away", requests=count)

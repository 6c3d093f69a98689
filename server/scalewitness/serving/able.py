"""A web process of a release that may not serve on the tables there are says so, and waits.

A new release may be started before `migrate` is run, and an old one after the tables have gone on
without it. Neither may take anything then. It looks again and serves once it may.
"""

import json
from collections.abc import Callable, Iterable
from http import HTTPStatus
from threading import Lock
from time import monotonic
from typing import Any, Final

import structlog
from django.db import DatabaseError, connection
from django.utils import timezone
from psycopg_pool import PoolTimeout

from scalewitness import __version__
from scalewitness.ledger.services.fencing import look_at_start
from scalewitness.ledger.services.releases import unable
from scalewitness.serving.busy import come_again

log = structlog.get_logger()

LOOKS_EACH: Final = 2.0
"""Seconds."""
LIVE: Final = "/health/live"
READY: Final = "/health/ready"

Environ = dict[str, Any]
Start = Callable[..., Any]


class OnlyWhenAble:
    """WSGI middleware, the outermost. Once it may serve it does not look any more: tables are only
    migrated for what may run beside this release, or while nothing of it runs."""

    def __init__(self, application: Callable[[Environ, Start], Iterable[bytes]]) -> None:
        self._application = application
        self._guard, self._looked_at = Lock(), -LOOKS_EACH
        self._fault: str | None = None
        self._able = False
        self._look()

    def __call__(self, environ: Environ, start_response: Start) -> Iterable[bytes]:
        if not self._able and environ["PATH_INFO"] != LIVE:
            self._look()
            if self._fault is not None:
                return _refuse(environ["PATH_INFO"], self._fault, start_response)
        return self._application(environ, start_response)

    def _look(self) -> None:
        """Where the database cannot be reached, whoever needs it says so."""
        with self._guard:
            if self._able or monotonic() - self._looked_at < LOOKS_EACH:
                return
            self._looked_at = monotonic()
            try:
                self._fault = unable(connection)
                self._able = self._fault is None
            except (DatabaseError, PoolTimeout):
                self._fault = None
            if self._able:
                look_at_start(timezone.now())
            elif self._fault:
                log.error("not_able", why=self._fault)
            connection.close()


def _refuse(path: str, why: str, start_response: Start) -> Iterable[bytes]:
    if path == READY:
        parts = {"release": __version__, "database": "of another release", "why": why}
        headers, content = {"Content-Type": "application/json"}, json.dumps(parts).encode()
    else:
        answer = come_again(path)
        headers, content = dict(answer.items()), answer.content
    headers |= {"Content-Length": str(len(content)), "Cache-Control": "no-store"}
    status = HTTPStatus.SERVICE_UNAVAILABLE
    start_response(f"{status.value} {status.phrase}", list(headers.items()))
    return [content]

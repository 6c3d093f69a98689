"""Which requests are read from a replica, and what happens where that does not come about."""

import re
from collections.abc import Callable
from typing import Final

from django.core.exceptions import MiddlewareNotUsed
from django.http import HttpRequest, HttpResponseBase

from scalewitness.monitoring.measures import READS
from scalewitness.replica import ReplicaReader, is_configured, reading
from scalewitness.serving.busy import come_again
from scalewitness.serving.rooms import Room
from scalewitness.waiting import seen_at, time_left

AT_PRIMARY: Final = 2
"""Readers of one process that the primary takes over from a replica at a time. A page is mostly
work for this process, so two are nearly as quick as all; and all processes' readers at once would
be too many for the primary (our judgement)."""
WAITING: Final = 8
TIMEOUT: Final = 2.0
"""Seconds that a reader waits for a place at the primary (our judgement)."""
AGAIN_WITHIN: Final = 5.0
"""Seconds after which an answer that failed at the replica is not tried anew at the primary: who
asked has waited long enough, and asks again (our judgement)."""

_READING: Final = frozenset({"GET", "HEAD"})
_STAYS: Final = re.compile(
    r"/(health/|metrics$|static/|rackside|accounts/|(api/v1/)?log/checkpoint$)"
)
"""At the primary: what watches this process, files, signing in; and the checkpoint, which is one
row: it would cost as much to ask how far the primary is."""
_FEED: Final = "/api/v1/changes"
"""Only so many wait there, and only two look at a time (`api.changes`)."""
_TILE: Final = "/log/tile/"
_PROOFS: Final = {"/api/v1/log/inclusion": "size", "/api/v1/log/consistency": "new"}
"""By the parameter that names the tree."""
_FOUND: Final = frozenset({200, 304})


def may_be_read_there(request: HttpRequest) -> bool:
    """Whether it is answered without writing anything."""
    return request.method in _READING and not _STAYS.match(request.path)


class ReadFromReplica:
    """Middleware, within that of sessions: those are kept at the primary."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        if not is_configured():
            raise MiddlewareNotUsed
        self._answer = get_response
        self._taken_over = Room(AT_PRIMARY, WAITING)

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not may_be_read_there(request):
            return self._answer(request)
        with reading() as reader:
            answer = self._read(request, reader)
        return self._at_primary(request) if answer is None else answer

    def _read(self, request: HttpRequest, reader: ReplicaReader) -> HttpResponseBase | None:
        """None where it is the primary's to answer."""
        same_for_ever = _is_same_for_ever(request)
        reader.turn(None if same_for_ever else seen_at())
        if not reader.at_replica:
            return None
        answer = self._answer(request)
        if same_for_ever and answer.status_code not in _FOUND:
            return None
        reader.leave()
        failed = reader.failed and answer.status_code == 503
        if not failed or time_left(AGAIN_WITHIN) <= 0:
            return answer
        READS.labels("failed").inc()
        return None

    def _at_primary(self, request: HttpRequest) -> HttpResponseBase:
        if request.path == _FEED:
            return self._answer(request)
        if not self._taken_over.enter(time_left(TIMEOUT)):
            READS.labels("turned_away").inc()
            return come_again(request.path)
        try:
            return self._answer(request)
        finally:
            self._taken_over.leave()


def _is_same_for_ever(request: HttpRequest) -> bool:
    """Hashes of a tree that is named: if they are there, they are right, whatever came since. They
    are everyone's, so that nothing can be seen that was revoked."""
    if request.path.startswith(_TILE):
        return True
    return _PROOFS.get(request.path, "") in request.GET

"""What changed for a keeper, to be asked again and again."""

from datetime import datetime, timedelta
from threading import BoundedSemaphore
from typing import Any

from django.conf import settings
from django.utils import timezone
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Opaque, Whole
from scalewitness.api.shapes.feed import Changes
from scalewitness.api.shapes.feed import changes as shaped
from scalewitness.domain.errors import CursorOfAnotherLog, Resync
from scalewitness.domain.sync import CURSOR_LIMIT
from scalewitness.feed.queries import Ends, log_now, next_turn
from scalewitness.feed.reading import changes
from scalewitness.feed.watching import Watcher, give_back_connection, seconds_until
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.people.models import Keeper
from scalewitness.replica import look_again

CURSOR = Opaque("cursor", "Where the answer before ended; without it, from nothing.", CURSOR_LIMIT)
LIMIT = Whole("limit", "Items in an answer.", default=100, least=1, most=1000)
WAIT = Whole("wait", "Seconds to wait for a change if there is none.", default=0, most=25)

WATCHER = Watcher(settings.FEED_WAITERS)
LOOKING = BoundedSemaphore(2)
"""One change wakes all who wait; two at a time look at it, or the crowd of them would keep
everyone else waiting (our judgement)."""
A_MOMENT = timedelta(milliseconds=10)
"""After a grant's turn, so that it has surely come."""


@operation(
    "List what changed since",
    gives={200: Changes},
    refuses=(Resync, CursorOfAnotherLog),
    query=(CURSOR, LIMIT, WAIT),
    throttle="changes",
)
def list_changes(request: Request) -> Response:
    """Everything I may see and have not seen, from a cursor: first animals newly seen, whole,
    and those no longer seen; then facts in log order; then edited records. Go on with the new
    cursor while there is `more`. An answer that was lost is asked for again with the old
    cursor. `410` says to begin again without one, in place of everything kept so far. A cursor
    names its log; that of another one is refused, and both are named."""
    limit, wait = LIMIT.need(request), WAIT.need(request)
    until = timezone.now() + timedelta(seconds=wait)
    with snapshot():
        found, known = _page(keeper_of(request), CURSOR.read(request), limit)
    # A process of one thread would keep everyone else waiting too.
    alone = not request.META.get("wsgi.multithread")
    if _is_something(found) or not wait or alone or not WATCHER.enter():
        return Response(found)
    try:
        while not _is_something(found) and (left := seconds_until(until, timezone.now())) > 0:
            turn = next_turn(keeper_of(request).pk, timezone.now() - A_MOMENT)
            give_back_connection()
            WATCHER.wait(known, min(left, seconds_until(_just_after(turn), timezone.now())))
            found, known = _look(request, found.cursor, limit)
    finally:
        WATCHER.leave()
    return Response(found)


def _is_something(found: Changes) -> bool:
    return bool(found.items) or found.more


def _just_after(turn: datetime | None) -> datetime | None:
    return turn and turn + A_MOMENT


def _look(request: Request, cursor: str | None, limit: int) -> tuple[Changes, Ends]:
    """As :func:`_page`, after a wait in which the device or the keeper may have changed.

    Raises:
        AuthenticationFailed: the device was revoked.
    """
    with LOOKING:
        look_again()
        return _look_now(request, cursor, limit)


def _look_now(request: Request, cursor: str | None, limit: int) -> tuple[Changes, Ends]:
    with snapshot():
        _require_still_in(request.auth)
        return _page(Keeper.objects.get(pk=keeper_of(request).pk), cursor, limit)


def _page(keeper: Keeper, cursor: str | None, limit: int) -> tuple[Changes, Ends]:
    """One page, and what the ends were then; call it inside one snapshot.

    Raises:
        Resync, CursorOfAnotherLog: as `feed.reading.changes`.
    """
    log, now = log_now(), timezone.now()
    page = changes(keeper, cursor, limit, log, now)
    return shaped(page, keeper, now, checkpoint=log.signed), log.ends


def _require_still_in(token: Any) -> None:
    if not type(token).objects.filter(pk=token.pk).exists():
        raise AuthenticationFailed("Invalid token.")

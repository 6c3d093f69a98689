"""What changed for a keeper, to be asked again and again."""

from datetime import datetime, timedelta
from threading import BoundedSemaphore
from time import monotonic
from typing import Any, NamedTuple

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
from scalewitness.feed import at_once
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
LOOKING = BoundedSemaphore(at_once.LOOKS)
"""One change may wake many of those who wait, and after a restart all come at once: so many at a
time look at it, or the crowd of them would keep everyone else waiting."""
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
    keeper, cursor = keeper_of(request), CURSOR.read(request)
    # A process of one thread would keep everyone else waiting too.
    if not wait or not request.META.get("wsgi.multithread"):
        with snapshot():
            return Response(_page(keeper, cursor, limit)[0])
    give_back_connection()
    with LOOKING, snapshot():
        look = _look(keeper, cursor, limit)
    if _is_something(look.found) or not WATCHER.enter():
        return Response(look.found)
    try:
        while not _is_something(look.found) and (left := seconds_until(until, timezone.now())) > 0:
            give_back_connection()
            turn = seconds_until(_just_after(look.turn), timezone.now())
            WATCHER.wait(keeper.pk, look.known, min(left, turn))
            look = _look_again(request, look.found.cursor, limit)
    finally:
        WATCHER.leave()
    return Response(look.found)


class _Look(NamedTuple):
    """What was ``found`` when the ends were those ``known``. If it is nothing: ``turn`` is when the
    next grant of theirs opens or closes by the clock."""

    found: Changes
    known: Ends
    turn: datetime | None


def _is_something(found: Changes) -> bool:
    return bool(found.items) or found.more


def _just_after(turn: datetime | None) -> datetime | None:
    return turn and turn + A_MOMENT


def _look_again(request: Request, cursor: str | None, limit: int) -> _Look:
    """After a wait in which the device or the keeper may have changed.

    Raises:
        AuthenticationFailed: the device was revoked.
    """
    woken = monotonic()  # as others were, by the same change: one question serves them all
    with LOOKING:
        look_again(woken)
        with snapshot():
            _require_still_in(request.auth)
            return _look(Keeper.objects.get(pk=keeper_of(request).pk), cursor, limit)


def _look(keeper: Keeper, cursor: str | None, limit: int) -> _Look:
    """As :func:`_page`, for somebody who would wait."""
    found, known = _page(keeper, cursor, limit)
    after = timezone.now() - A_MOMENT
    return _Look(found, known, None if _is_something(found) else next_turn(keeper.pk, after))


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

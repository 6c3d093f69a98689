"""Closing the log to everything new when it may not be the one that was shown to others."""

from datetime import datetime

import structlog
from django.db import DatabaseError, transaction
from psycopg_pool import PoolTimeout

from scalewitness.domain.errors import Fenced
from scalewitness.ledger.models import Fence, Head, SignedHead
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.queries.origins import origin
from scalewitness.ledger.queries.tree import Tip, continues, tip
from scalewitness.ledger.services.memory import Unreliable, present_origin, remembered
from scalewitness.ledger.services.moving import unshown_move

log = structlog.get_logger()


def watch(now: datetime) -> Fence | None:
    """Close the log if it does not continue what is remembered outside the database, or was moved
    and nothing outside shows that it is whole. Returns the fence that stands, of now or of before.
    A process that holds the key of another name has no say in it: it signs nothing, and what it
    remembers is of another log."""
    standing = standing_fence()
    if origin() not in {None, present_origin()}:
        return standing
    fault = None if standing else contradiction() or unshown_move(now)
    return raise_fence(fault, now) if fault else standing


def look_at_start(now: datetime) -> None:
    """:func:`watch` for a process that starts. Where the database cannot be reached or has
    no tables yet it serves nothing either, and looks again before it writes or signs."""
    try:
        watch(now)
    except (DatabaseError, PoolTimeout) as down:
        log.warning("log_not_watched_at_start", error=type(down).__name__)


def contradiction() -> str | None:
    """What speaks against this log being the one that was signed, in a sentence."""
    try:
        last = remembered()
    except Unreliable as fault:
        return str(fault)
    return None if last is None else shortfall(last, tip())


def shortfall(outside: Tip, head: Tip) -> str | None:
    """Why a log with this head is not the one of an outside checkpoint, or a later state of
    it; None where it is."""
    if head.size < outside.size:
        return (
            f"The outside checkpoint has {outside.size} entries, this copy {head.size}: "
            f"the last {outside.size - head.size} are lost here."
        )
    if not continues(outside, head):
        return (
            f"The outside checkpoint has {outside.size} entries, this copy {head.size}, but not "
            "the same: among those up to the checkpoint this copy holds others, or its tree is "
            "damaged. It is a fork."
        )
    return None


def raise_fence(reason: str, now: datetime) -> Fence:
    """Close the log: once this is committed, nothing enters it and nothing is signed. A fence
    that stands already stays as it is."""
    with transaction.atomic():
        SignedHead.objects.select_for_update().get(pk=1)
        Head.objects.select_for_update().get(pk=1)
        standing = standing_fence()
        if standing is not None:
            return standing
        head = tip()
        return Fence.objects.create(
            state=Fence.State.RAISED, reason=reason, at=now, size=head.size, root=head.root
        )


def refuse_if_closed(size: int) -> None:
    """To be asked under the head's lock, with the log's size, before anything is written.

    Raises:
        Fenced: a fence stands, or the log is smaller than what was signed.
    """
    if is_closed(size):
        raise Fenced()


def is_closed(size: int | None = None) -> bool:
    """Whether a fence stands or must. Compares sizes alone, which costs one small file, or one
    question a second of another host; the proof is asked for by :func:`watch`."""
    if standing_fence() is not None:
        return True
    try:
        last = remembered(seconds_old=1.0)
    except Unreliable:
        return True
    return last is not None and (tip().size if size is None else size) < last.size

"""Whether the log is closed to everything new."""

from datetime import datetime
from hashlib import sha256

from scalewitness.ledger.models import Fence
from scalewitness.ledger.queries.prepared import Prepared, columns


def standing_fence() -> Fence | None:
    """The fence that stands round the log now, if one does."""
    last = next(iter(LAST.rows_of(Fence)), None)
    return last if last is not None and last.state != Fence.State.LIFTED else None


def epoch(raised: tuple[int, datetime, int, bytes] | None) -> bytes:
    """Eight bytes that are others after each fence raised: what was read before it may not be
    what the log holds now. Ids are no help, as a restored database gives them out again.

    ``raised``: id, time, size and root of the last one, if there ever was one.
    """
    if raised is None:
        return sha256().digest()[:8]
    number, at, size, root = raised
    return sha256(f"{number} {at.isoformat()} {size} ".encode() + root).digest()[:8]


LAST = Prepared(lambda: Fence.objects.order_by("-pk").values_list(*columns(Fence))[:1])

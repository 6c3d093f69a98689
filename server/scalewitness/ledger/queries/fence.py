"""Whether the log is closed to everything new."""

from hashlib import sha256

from django.db.models import QuerySet

from scalewitness.ledger.models import Fence
from scalewitness.ledger.queries.prepared import Prepared, columns


def standing_fence() -> Fence | None:
    """The fence that stands round the log now, if one does."""
    last = next(iter(LAST.rows_of(Fence)), None)
    return last if last is not None and last.state == Fence.State.RAISED else None


def epoch() -> bytes:
    """Eight bytes that are others after each fence raised: what was read before it may not be
    what the log holds now. Ids are no help, as a restored database gives them out again."""
    last = next(iter(RAISED.rows_of(Fence)), None)
    said = "" if last is None else f"{last.pk} {last.at.isoformat()} {last.size} "
    root = b"" if last is None else bytes(last.root)
    return sha256(said.encode() + root).digest()[:8]


def _last(*states: str) -> QuerySet[Fence, tuple[object, ...]]:
    rows = Fence.objects.filter(state__in=states) if states else Fence.objects.all()
    return rows.order_by("-pk").values_list(*columns(Fence))[:1]


LAST = Prepared(_last)
RAISED = Prepared(lambda: _last(Fence.State.RAISED))

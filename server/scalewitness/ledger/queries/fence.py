"""Whether the log is closed to everything new."""

from scalewitness.ledger.models import Fence


def standing_fence() -> Fence | None:
    """The fence that stands round the log now, if one does."""
    last = Fence.objects.order_by("-pk").first()
    return last if last is not None and last.state == Fence.State.RAISED else None

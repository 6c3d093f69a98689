"""Whether the log is closed to everything new."""

from hashlib import sha256

from scalewitness.ledger.models import Fence


def standing_fence() -> Fence | None:
    """The fence that stands round the log now, if one does."""
    last = Fence.objects.order_by("-pk").first()
    return last if last is not None and last.state == Fence.State.RAISED else None


def epoch() -> bytes:
    """Eight bytes that are others after each fence raised: what was read before it may not be
    what the log holds now. Ids are no help, as a restored database gives them out again."""
    last = Fence.objects.filter(state=Fence.State.RAISED).order_by("-pk").first()
    said = "" if last is None else f"{last.pk} {last.at.isoformat()} {last.size} "
    root = b"" if last is None else bytes(last.root)
    return sha256(said.encode() + root).digest()[:8]

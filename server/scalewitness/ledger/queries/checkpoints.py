"""Reading the checkpoints that were signed."""

from scalewitness.ledger.models import Checkpoint


def latest_checkpoint(key: str) -> Checkpoint | None:
    """The largest tree signed under a verifier key; None where there is none yet."""
    return Checkpoint.objects.filter(key=key).order_by("-size").first()

"""Reading the checkpoints that were signed."""

from scalewitness.ledger.models import Checkpoint, SignedHead


def latest_checkpoint(key: str) -> Checkpoint | None:
    """The largest tree signed under a verifier key; None where there is none yet."""
    return Checkpoint.objects.filter(key=key).order_by("-size").first()


def largest_signed() -> int:
    """The size of the largest tree ever signed; 0 before the first."""
    return SignedHead.objects.values_list("size", flat=True).filter(pk=1).first() or 0

"""Reading the checkpoints that were signed."""

from scalewitness.ledger.models import Checkpoint, SignedHead
from scalewitness.ledger.queries.prepared import Prepared


def latest_checkpoint(key: str) -> Checkpoint | None:
    """The largest tree signed under a verifier key; None where there is none yet."""
    return Checkpoint.objects.filter(key=key).order_by("-size").first()


def largest_signed() -> int:
    """The size of the largest tree ever signed; 0 before the first."""
    found = SIGNED.ask()
    return int(found[0][0]) if found else 0


SIGNED = Prepared(lambda: SignedHead.objects.filter(pk=1).values_list("size"))

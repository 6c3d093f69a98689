"""Under which names the log has been signed, one after another."""

from scalewitness.ledger.models import Checkpoint, Succession


def successions() -> list[Succession]:
    """How the log came by its present name, in order; mostly not at all."""
    return list(Succession.objects.order_by("position"))


def origin() -> str | None:
    """The name that the log is signed under; None where nothing was ever signed."""
    last = Succession.objects.order_by("-position").values_list("new_key", flat=True).first()
    signed = last or Checkpoint.objects.order_by("pk").values_list("key", flat=True).first()
    return name_of(signed) if signed else None


def is_closed(name: str) -> bool:
    """Whether the log went by this name once, and was closed."""
    return Succession.objects.filter(old_key__startswith=f"{name}+").exists()


def name_of(key: str) -> str:
    """The name in a verifier key's text."""
    return key.partition("+")[0]

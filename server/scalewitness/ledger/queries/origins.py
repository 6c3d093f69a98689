"""Under which names and keys the log has been signed, one after another."""

from collections.abc import Iterable

from scalewitness.ledger.models import Checkpoint, Succession
from scalewitness.ledger.queries.prepared import Prepared, columns


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


def key_changes() -> list[Checkpoint]:
    """The checkpoints by which the log was given over from one key to another, in order."""
    return list(CHANGES.rows_of(Checkpoint))


def heir_of(key: str, changes: Iterable[Checkpoint]) -> str:
    """The key that the log was given over to from this one, by however many steps; this one itself
    where it never was."""
    heirs = {str(one.replaces): one.key for one in changes}
    while key in heirs:
        key = heirs.pop(key)
    return key


CHANGES = Prepared(
    lambda: (
        Checkpoint.objects.filter(replaces__isnull=False)
        .order_by("size")
        .values_list(*columns(Checkpoint))
    )
)

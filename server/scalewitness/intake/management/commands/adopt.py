"""``adopt [FILE…]``: open a fenced log again, against what is known of it outside."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import LogContradicted, Refused
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services.adopting import adopt
from scalewitness.ledger.services.outside import Outside, read_outside
from scalewitness.mail.queries import unsent_since

MOST_BYTES = 1 << 20
STAYS = "The log stays as it is."
FENCED = (
    "The log is fenced, and this is kept: no older file opens it. Look for a newer backup. If "
    "there is none, what is missing is lost: see admit_loss."
)


class Command(BaseCommand):
    help = (
        "Lift the fence of a restored log if it continues these checkpoints (signed notes or "
        "receipts from witnesses, clients or buyers) and the file of LOG_MEMORY, and one of "
        "these shows more than the copy itself: that nothing was signed after it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", nargs="*", type=Path, help="all that can be found, the newest above all"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        fenced = standing_fence() is not None
        outside = [read_file(path) for path in options["file"]]
        try:
            adopted = adopt(outside, timezone.now())
        except LogContradicted as refused:
            stays = FENCED if standing_fence() is not None else STAYS
            raise CommandError(f"{refused.detail}\n{stays}") from None
        except Refused as refused:
            raise CommandError(f"{refused.detail}\n{STAYS}") from None
        self.stdout.write(
            f"This copy has {adopted.head.size} entries and continues the checkpoint of "
            f"{adopted.shown.size}, shown by {adopted.by}."
        )
        if not fenced:
            self.stdout.write("No fence stood; nothing was changed.")
            return
        waiting, _ = unsent_since(timezone.now())
        self.stdout.write(f"The fence is lifted. Letters that now go out: {waiting}.")


def read_file(path: Path) -> Outside:
    """A checkpoint from a file that an operator names.

    Raises:
        CommandError: it cannot be read, or is none of this log.
    """
    try:
        with path.open("rb") as file:
            return read_outside(file.read(MOST_BYTES))
    except OSError as fault:
        raise CommandError(f"{path}: {fault.strerror}") from None
    except Refused as refused:
        raise CommandError(f"{path}: {refused.detail}\n{STAYS}") from None

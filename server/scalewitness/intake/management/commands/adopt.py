"""``adopt FILE…``: open a fenced log again, against checkpoints from outside."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.ledger.services.adopting import Adopted, Outside, adopt, read_outside
from scalewitness.mail.queries import letters_by_state

MOST_BYTES = 1 << 20
STAYS = "The log stays as it is."
NOTHING_NEWER = (
    "This copy knew that checkpoint itself. It proves that the copy is of this log, not that "
    "nothing was signed after it: a client that holds a newer one will raise the alarm."
)


class Command(BaseCommand):
    help = (
        "Lift the fence of a restored log if it continues these checkpoints: signed notes or "
        "receipts from witnesses, clients or buyers, the newest that can be found."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", nargs="+", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        fenced = standing_fence() is not None
        outside = [_read(path) for path in options["file"]]
        try:
            adopted = adopt(outside, timezone.now())
        except Refused as refused:
            raise CommandError(f"{refused.detail}\n{STAYS}") from None
        self.stdout.write(_told(adopted))
        if not fenced:
            self.stdout.write("No fence stood; nothing was changed.")
            return
        waiting = letters_by_state()["waiting"] + letters_by_state()["sending"]
        self.stdout.write(f"The fence is lifted. Letters that now go out: {waiting}.")


def _read(path: Path) -> Outside:
    try:
        with path.open("rb") as file:
            return read_outside(file.read(MOST_BYTES))
    except OSError as fault:
        raise CommandError(f"{path}: {fault.strerror}") from None
    except Refused as refused:
        raise CommandError(f"{path}: {refused.detail}\n{STAYS}") from None


def _told(adopted: Adopted) -> str:
    told = (
        f"This copy has {adopted.head.size} entries and continues the outside checkpoint of "
        f"{adopted.outside.size}."
    )
    return told if adopted.outside.size > adopted.known else f"{told}\n{NOTHING_NEWER}"

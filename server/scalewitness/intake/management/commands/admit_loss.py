"""``admit_loss FILE… --because TEXT``: close a log that lost entries, go on as another."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.management.commands.adopt import STAYS, read_file
from scalewitness.intake.succession import admit_loss, require_retired_key
from scalewitness.ledger.queries.origins import name_of

DONE = """{old} is closed for good: it signs nothing more. The log goes on as {new}, from the
{kept} entries that are left here. {missing}
Its key, to be told to keepers and witnesses by another way than this server:
  {key}
Restart every process. Keepers who trusted the old log are asked before they follow, and what
they hold of the entries that were lost is offered again. Receipts of the old log stay valid."""


class Command(BaseCommand):
    help = (
        "Close a fenced log that lost entries others have seen, and go on from what is left "
        "under the name and key that LOG_SIGNING_KEY now holds. The old public key must be in "
        "LOG_RETIRED_KEYS. This cannot be undone."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file", nargs="*", type=Path, help="signed notes or receipts of the old log, the newest"
        )
        parser.add_argument(
            "--because",
            required=True,
            help="what happened, and by whose word; everybody reads it, so no names or addresses",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            require_retired_key()
            outside = [read_file(path) for path in options["file"]]
            made = admit_loss(outside, options["because"], timezone.now())
        except Refused as refused:
            raise CommandError(f"{refused.detail}\n{STAYS}") from None
        text = DONE.format(
            old=name_of(made.old_key),
            new=name_of(made.new_key),
            kept=made.position,
            missing=_missing(made.position, made.missing),
            key=made.new_key,
        )
        self.stdout.write(text)


def _missing(kept: int, missing: int) -> str:
    if not missing:
        return "Nothing is known to be missing, and nothing shows that nothing is."
    return f"Known to be missing: {missing}, at the positions {kept} to {kept + missing - 1}."

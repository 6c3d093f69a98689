"""``change_log_key``: give the log over from its key to the next one."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.ledger.services.signing import give_over

DONE = """From {size} entries on the log is signed under
  {new}
and under nothing else. The note that says so is signed under both keys: clients and witnesses
follow it by themselves, and refuse what is signed later under the old one. Now, in the settings:
  LOG_SIGNING_KEY   what LOG_NEXT_KEY is
  LOG_NEXT_KEY      nothing
  LOG_RETIRED_KEYS  also {old}
Then restart every process, tell outside witnesses the new key, and destroy the old private one."""


class Command(BaseCommand):
    help = (
        "Give the log over from LOG_SIGNING_KEY to LOG_NEXT_KEY, which every process has to have "
        "before. This cannot be undone."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = give_over(timezone.now())
        except Refused as refused:
            raise CommandError(refused.detail) from None
        self.stdout.write(DONE.format(size=made.size, new=made.key, old=made.replaces))

"""``replay``: recompute every standing from the log; exits 1 at any difference."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.standings.queries.replay import Replay


class Command(BaseCommand):
    help = "Recompute every standing from the log and compare it with what was recorded."

    def handle(self, *args: Any, **options: Any) -> None:
        with snapshot():
            replay = Replay()
            differences = list(replay.differences())
        for found in differences:
            self.stderr.write(f"position {found.position}: animal {found.animal}: {found.what}")
        if differences:
            raise CommandError(f"{len(differences)} differences in {replay.checked} standings")
        self.stdout.write(f"{replay.checked} standings recomputed from the log, no difference")

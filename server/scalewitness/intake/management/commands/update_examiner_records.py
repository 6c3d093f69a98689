"""``update_examiner_records``: the nightly task, at once."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from scalewitness.intake.statements import update_examiner_records


class Command(BaseCommand):
    help = "Make up the examiners' records from settled animals; reassess what they called."

    def handle(self, *args: Any, **options: Any) -> None:
        changed = update_examiner_records(timezone.now())
        self.stdout.write(f"{changed} examiners' records changed")

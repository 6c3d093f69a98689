"""``adopt_numbers``: put in force what the record learned."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.dry_run import in_lines
from scalewitness.intake.numbers import adopt_numbers, foresee_numbers


class Command(BaseCommand):
    help = (
        "Put the numbers in force that were learned last night; once in a quarter at most. Only "
        "animals whose label they change are stated anew."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--dry-run",
            action="store_true",
            help="print which labels would change and which letters would be owed; record nothing",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        try:
            if options["dry_run"]:
                for line in in_lines(foresee_numbers(now)):
                    self.stdout.write(line)
            else:
                numbers = adopt_numbers(now)
                self.stdout.write(f"{numbers.version} is in force from position {numbers.position}")
        except Refused as refused:
            raise CommandError(refused.detail) from None

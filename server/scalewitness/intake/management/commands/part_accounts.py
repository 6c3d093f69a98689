"""``part_accounts KEEPER KEEPER``: two accounts that shared a key are two people."""

from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.statements import part_accounts


class Command(BaseCommand):
    help = (
        "Lift, after an objection, that two accounts count as one examiner since their devices "
        "held one key. Their calls count for themselves from then on."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("keepers", nargs=2, type=UUID, help="their ids")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            first, second = options["keepers"]
            count = part_accounts(first, second, timezone.now())
        except Refused as refused:
            raise CommandError(refused.detail) from None
        self.stdout.write(f"{count} animals were assessed anew")

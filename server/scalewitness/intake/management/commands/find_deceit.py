"""``find_deceit KEEPER FINDING``: a finding says that a keeper deceived."""

from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.statements import find_deceit


class Command(BaseCommand):
    help = (
        "Record that a finding names a keeper's deceit: their word verifies nothing and never "
        "did, and whoever vouched for them loses the right to. There is no way back: read the "
        "finding first."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("keeper", type=UUID, help="their id")
        parser.add_argument("finding", type=UUID, help="the id of the finding's fact")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            count = find_deceit(options["keeper"], options["finding"], timezone.now())
        except Refused as refused:
            raise CommandError(refused.detail) from None
        self.stdout.write(f"{count} animals were assessed anew")

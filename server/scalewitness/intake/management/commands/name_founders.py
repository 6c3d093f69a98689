"""``name_founders EMAIL…``: whose word may verify a sex while nobody has a record here."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.intake.statements import name_founders
from scalewitness.people.queries import verified_keeper


class Command(BaseCommand):
    help = (
        "Name keepers, five at most, whose word may verify a sex until ten keepers have a record "
        "of their own. It is on record, and shown: choose people whom the others know."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", nargs="+", help="as the keeper verified it")

    def handle(self, *args: Any, **options: Any) -> None:
        found = {email: verified_keeper(email) for email in options["email"]}
        if unknown := [email for email, keeper in found.items() if keeper is None]:
            raise CommandError(f"no keeper has verified {', '.join(unknown)}")
        try:
            name_founders([one.pk for one in found.values() if one is not None], timezone.now())
        except Refused as refused:
            raise CommandError(refused.detail) from None

"""``vouch EMAIL…``: the operator vouches for addresses of keepers known in person."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from scalewitness.people.services import vouch


class Command(BaseCommand):
    help = "Mark addresses as verified without a letter, for keepers known in person."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email", nargs="+")

    def handle(self, *args: Any, **options: Any) -> None:
        unknown = [email for email in options["email"] if not vouch(email)]
        if unknown:
            raise CommandError(f"no keeper has the address {', '.join(unknown)}")

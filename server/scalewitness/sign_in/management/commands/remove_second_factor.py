"""``remove_second_factor EMAIL``: for a keeper who lost phone, passkeys and recovery codes."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.people.models import Keeper
from scalewitness.sign_in.services.removing import remove_for


class Command(BaseCommand):
    help = (
        "Remove a keeper's second factor, so that the password alone opens the account again; "
        "a letter tells them. Be sure whom you do it for: whoever asks may be somebody else."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")

    def handle(self, *args: Any, **options: Any) -> None:
        keeper = Keeper.objects.filter(email__iexact=options["email"], is_active=True).first()
        if keeper is None:
            raise CommandError(f"no keeper has the address {options['email']}")
        if not remove_for(keeper, timezone.now()):
            raise CommandError("this keeper has no second factor")
        self.stdout.write("removed; the keeper is told by letter")

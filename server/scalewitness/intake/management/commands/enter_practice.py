"""``enter_practice PRACTITIONER EMAIL``: where a practice publishes that it can be written to."""

from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError
from django.core.validators import validate_email
from django.utils import timezone

from scalewitness.fresh_ids import fresh_id
from scalewitness.letters.reports import ask_practitioners
from scalewitness.people.queries import practitioner_of
from scalewitness.people.services import enter_address


class Command(BaseCommand):
    help = (
        "Enter the address that a practice or laboratory publishes itself, so that it can confirm "
        "or deny what was reported of it. Look it up: never enter what the sender gave you."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("practitioner", help="the id that calls name")
        parser.add_argument("email", help="as the practice publishes it")

    def handle(self, *args: Any, **options: Any) -> None:
        who, email, now = options["practitioner"], options["email"], timezone.now()
        try:
            validate_email(email)
            found = practitioner_of(UUID(who))
        except ValidationError:
            raise CommandError(f"{email} is no address") from None
        except ValueError:
            raise CommandError(f"{who} is not the id of a practitioner") from None
        if found is None:
            raise CommandError(f"nobody was named under {who}")
        enter_address(found, email, fresh_id(now), now)
        ask_practitioners(now)
        self.stdout.write(f"{found.name}, named by {found.named_by.name}, is asked at {email}")

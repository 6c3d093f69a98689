"""``open_account EMAIL``: an account with a confirmed address, such as the first operator's."""

import getpass
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from scalewitness.domain.errors import OutOfRange
from scalewitness.intake.accounts import open_confirmed_account


class Command(BaseCommand):
    help = (
        "Open an account with a confirmed address for somebody known in person. Asks for its "
        "password; where none is typed they set one by letter. An account that confirmed the "
        "address stays as it is."
    )
    stealth_options = ("password",)

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("email")
        parser.add_argument("--name", default="Operator", help="as others read it")

    def handle(self, *args: Any, **options: Any) -> None:
        password = options.get("password")
        if password is None:
            password = getpass.getpass("Password (empty: they set one by letter): ")
        try:
            opened = open_confirmed_account(
                name=options["name"], email=options["email"], password=password
            )
        except OutOfRange as refused:
            raise CommandError(refused.detail) from None
        self.stdout.write("opened" if opened else "it has an account, which stays as it is")

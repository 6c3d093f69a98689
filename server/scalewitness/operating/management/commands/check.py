"""``check``: tests a service that is set up and running, in words."""

import sys
from argparse import ArgumentParser
from dataclasses import fields
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from scalewitness.operating.asked import Asked
from scalewitness.operating.looking import ALL, looked
from scalewitness.operating.results import Result, shown, status


class Command(BaseCommand):
    """In place of Django's own, whose checks it runs too, with those for deployment."""

    help = (
        "Test a service that is set up and running: one line for each thing, right, wrong or "
        "unsure, with what to do about it. Exits with 1 where anything is wrong."
    )
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        add = parser.add_argument
        add("--json", action="store_true", help="a list of results, for programs")
        add("--strict", action="store_true", help="exit with 3 where something was not tested")
        add("--only", nargs="+", default=[], choices=list(ALL), help="look at these alone")
        add(
            "--kept-keys", type=Path, help="the copy of the file of settings that is kept elsewhere"
        )
        add("--web-processes", type=int, default=2, help="on all hosts together")
        add("--ntp", default="", help="a time server to compare the clock with")
        add("--mail-to", default="", help="send a letter with a code there; it is asked for")
        add("--returns", type=Path, help="the Maildir in which reports arrive; one is provoked")
        add("--wait", type=float, default=60.0, help="seconds to wait for that report")
        add("--letter", type=Path, help="a letter of this service, saved as it arrived")
        add("--dkim-selector", default="", help="the name under which the mail host's key stands")
        add("--name-server", default="", help="ask this one, instead of the host's own")

    def handle(self, *args: Any, **options: Any) -> None:
        asked = Asked(
            **{one.name: options[one.name] for one in fields(Asked) if one.name in options}
        )
        results: list[Result] = []
        for result in looked(asked, options["only"]):
            results.append(result)
            if not options["json"]:
                self.stdout.write(result.line())
        if options["json"]:
            self.stdout.write(shown(results))
        sys.exit(status(results, strict=options["strict"]))

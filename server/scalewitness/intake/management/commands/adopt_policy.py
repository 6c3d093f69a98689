"""``adopt_policy VERSION verified=0.995 …``: put a labelling policy in force."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.domain.sexing.parameters import CURRENT
from scalewitness.intake.statements import adopt_policy


class Command(BaseCommand):
    help = "Adopt a new version of the labelling policy; every animal is reassessed under it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("version")
        parser.add_argument("threshold", nargs="+", help="NAME=SHARE, such as verified=0.995")
        parser.add_argument("--parameters", default=CURRENT)

    def handle(self, *args: Any, **options: Any) -> None:
        pairs = [given.partition("=") for given in options["threshold"]]
        thresholds = {name: f"{_share(share):.6f}" for name, _, share in pairs}
        try:
            policy = adopt_policy(
                options["version"], options["parameters"], thresholds, timezone.now()
            )
        except Refused as refused:
            raise CommandError(refused.detail) from None
        self.stdout.write(f"{policy.version} is in force from position {policy.position}")


def _share(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise CommandError(f"{text!r} is not a share between one half and one") from None

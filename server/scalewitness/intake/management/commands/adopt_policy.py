"""``adopt_policy VERSION verified=0.995 …``: put a labelling policy in force."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.errors import Refused
from scalewitness.domain.sexing.parameters import CURRENT
from scalewitness.intake.dry_run import in_lines
from scalewitness.intake.statements import adopt_policy, foresee_policy


class Command(BaseCommand):
    help = (
        "Adopt a new version of the labelling policy, or of the model; every animal is reassessed "
        "under it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("version")
        parser.add_argument("threshold", nargs="*", help="NAME=SHARE, such as verified=0.995")
        parser.add_argument(
            "--parameters", default=CURRENT, help="of the model, the newest if not given"
        )
        parser.add_argument(
            "--dry-run",
            action="store_true",
            help="print which labels would change and which letters would be owed; record nothing",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        pairs = [given.partition("=") for given in options["threshold"]]
        thresholds = {name: f"{_share(share):.6f}" for name, _, share in pairs}
        about = options["version"], options["parameters"], thresholds, timezone.now()
        try:
            if options["dry_run"]:
                for line in in_lines(foresee_policy(*about)):
                    self.stdout.write(line)
            else:
                policy = adopt_policy(*about)
                self.stdout.write(f"{policy.version} is in force from position {policy.position}")
        except Refused as refused:
            raise CommandError(refused.detail) from None


def _share(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise CommandError(f"{text!r} is not a share between one half and one") from None

"""``learn_numbers``: the nightly task, at once."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from scalewitness.standings.services import learn_numbers


class Command(BaseCommand):
    help = "Learn numbers from settled animals and publish them; nothing comes into force."

    def handle(self, *args: Any, **options: Any) -> None:
        found = learn_numbers(timezone.now())
        self.stdout.write(f"{len(found.numbers)} numbers learned")

"""``move_photos --to objects|database``: photos' files from one to the other, while all goes on."""

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.animals.queries.photo_files import has_bucket
from scalewitness.animals.services.photo_files import moved
from scalewitness.domain.errors import FilesAway

EVERY = 1000
MOST_NAMED = 20


class Command(BaseCommand):
    help = (
        "Move photos' files into the bucket or back into the database, one at a time. Each is "
        "copied, read back, and only then let go of. Stop it whenever you like, and run it again."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", choices=("objects", "database"), required=True)

    def handle(self, *args: Any, **options: Any) -> None:
        to = options["to"]
        if not has_bucket():
            raise CommandError("Set AWS_STORAGE_BUCKET_NAME: into or out of which bucket?")
        if to != settings.PHOTO_STORAGE:
            raise CommandError(
                f"Set PHOTO_STORAGE={to} first, and restart web and worker: else what arrives "
                "meanwhile goes the other way."
            )
        count, faults = 0, 0
        try:
            for photo, fault in moved(to, timezone.now):
                count += 1
                if fault and (faults := faults + 1) <= MOST_NAMED:
                    self.stderr.write(f"photo {photo}: {fault}")
                if count % EVERY == 0:
                    self.stdout.write(f"{count} looked at")
        except FilesAway:
            raise CommandError(
                f"The bucket does not answer, after {count - faults} files; the log says why. "
                "Nothing is lost: run it again."
            ) from None
        self.stdout.write(f"{count - faults} files moved")
        if faults:
            raise CommandError(f"{faults} files stay where they are, for these reasons.")

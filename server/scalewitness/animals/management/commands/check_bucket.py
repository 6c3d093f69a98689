"""``check_bucket``: try out the bucket that photos' files are kept in."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.animals.queries.photo_files import has_bucket
from scalewitness.animals.services.bucket_check import check_bucket


class Command(BaseCommand):
    help = (
        "Put an object into the bucket, read it back, try whether anybody else could, and delete "
        "it; say what is wrong, such as clocks apart, missing rights, files or erasures that wait."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        if not has_bucket():
            self.stdout.write("No bucket is set: photos' files are in the database.")
            return
        found = list(check_bucket(timezone.now()))
        for one in found:
            (self.stderr if one.fault else self.stdout).write(one.text)
        if any(one.fault for one in found):
            raise CommandError("The bucket needs you.")

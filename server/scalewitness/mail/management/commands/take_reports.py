"""``take_reports``: reads what came back to the return path of our letters."""

import mailbox
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scalewitness.domain.delivery_reports import LIMIT, NotAReport, read_reports
from scalewitness.mail.services.reporting import take_report


class Command(BaseCommand):
    help = (
        "Read delivery reports (RFC 3464): one message from standard input, as a mail host "
        "pipes it, or every new one in a Maildir, which are then marked as seen."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--maildir", type=Path, help="the folder with new, cur and tmp in it")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["maildir"] is None:
            try:
                self.stdout.write(_taken(sys.stdin.buffer.read(LIMIT + 1)))
            except NotAReport as why:
                raise CommandError(f"not a delivery report: {why}", returncode=65) from None
            return
        if not (options["maildir"] / "new").is_dir():
            raise CommandError(f"{options['maildir']} is not a Maildir", returncode=2)
        self._all_in(mailbox.Maildir(options["maildir"], create=False))

    def _all_in(self, box: mailbox.Maildir) -> None:
        for key in box.keys():  # noqa: SIM118  a mailbox iterates over messages
            message = box.get_message(key)
            if message.get_subdir() != "new":
                continue
            try:
                self.stdout.write(f"{key}: {_taken(box.get_bytes(key))}")
            except NotAReport as why:
                self.stdout.write(f"{key}: not a delivery report: {why}")
            message.set_subdir("cur")
            message.add_flag("S")
            box[key] = message


def _taken(data: bytes) -> str:
    """What was made of a message, in words."""
    now, words = timezone.now(), []
    for report in read_reports(data):
        letter = take_report(report, now)
        known = f"letter {letter.pk}" if letter else "no letter of ours to that address"
        words.append(f"{report.action} {report.status}: {known}")
    return "; ".join(words)

"""``fsck``: check every store against the log's entries; exits 1 at any difference."""

import sys
from argparse import ArgumentParser
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from scalewitness.domain.errors import FilesAway
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.notes import BadNote, open_checkpoint
from scalewitness.fsck.crew import fitting_processes
from scalewitness.fsck.log import Claim, trusted_keys
from scalewitness.fsck.objects import Unreferred
from scalewitness.fsck.report import Report
from scalewitness.fsck.run import PARTS, FsckRun, OtherRun, keep_mark, read_mark
from scalewitness.fsck.since import NotKept, keep_sound, read_sound
from scalewitness.ledger.queries.origins import name_of, successions
from scalewitness.ledger.services.signing import log_signer

WIDTH = 40


class Command(BaseCommand):
    help = (
        "Rebuild leaves, tiles, roots, rows and standings from the log's entries and report "
        "the first difference by position. It reads only."
    )

    requires_system_checks = ()  # they load the whole web side, which nothing here needs

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--only", choices=PARTS, help="check this part alone")
        parser.add_argument(
            "--resume",
            metavar="FILE",
            type=Path,
            help="keep the place in FILE; a run that was stopped goes on from there",
        )
        parser.add_argument(
            "--since",
            metavar="FILE",
            type=Path,
            help="read what came since the last sound check, kept in FILE; from nothing at first",
        )
        parser.add_argument(
            "--against",
            metavar="FILE",
            type=Path,
            action="append",
            default=[],
            help="a checkpoint kept elsewhere that the log must agree with; may be repeated",
        )

        parser.add_argument(
            "--processes",
            metavar="N",
            type=int,
            help="how many share the work (default: one for each core, one alone for a small log)",
        )
        parser.add_argument(
            "--progress",
            action="store_true",
            help="say how far it is also where standard error is no terminal",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        parts = (options["only"],) if options["only"] else PARTS
        file: Path | None = options["resume"]
        since: Path | None = options["since"]
        if since is not None and (file is not None or options["only"]):
            raise CommandError("--since goes with neither --only nor --resume")
        try:
            mark = read_mark(file, log_signer().name, parts)
            sound = read_sound(since, log_signer().name) if since else None
        except OtherRun as fault:
            raise CommandError(str(fault)) from None
        except NotKept as fault:
            raise CommandError(f"{since} {fault}: check from nothing, into another file") from None
        claims = [self._outside(kept) for kept in options["against"]]
        self._asked, self._latest = options["progress"], ("", 0)
        processes = options["processes"] or fitting_processes()
        keep = partial(keep_mark, file)
        run = FsckRun(mark, keep, self._show, claims, processes, sound)
        try:
            report, found = (run.everything(), None) if since is None else run.everything_since()
        except FilesAway:
            raise CommandError("the bucket of photos does not answer; the log says why") from None
        if file is not None:
            file.unlink(missing_ok=True)
        self._tell_of_others(run.unreferred)
        self._report(report, run.state.size, sound.tree.size if sound else 0)
        if since is not None and found is not None:
            # Else it differs, and the next check begins where this one did.
            keep_sound(since, found)
            self.stdout.write(f"{since} has what was checked, up to position {run.state.size}")

    def _outside(self, file: Path) -> Claim:
        """A note from outside, under any of the log's keys."""
        faults = []
        for key in trusted_keys().values():
            try:
                checkpoint, _ = open_checkpoint(file.read_bytes(), key)
            except (BadNote, NotACheckpoint, OSError) as fault:
                faults.append(str(fault))
            else:
                _require_present(file, checkpoint)
                return Claim(str(file), checkpoint.size, checkpoint.root)
        raise CommandError(f"{file} is not a checkpoint of this log: {faults[0]}")

    def _tell_of_others(self, others: Unreferred) -> None:
        if others.oldest is not None:
            self.stdout.write(
                f"{others.count} objects in the bucket belong to no photo, the oldest of "
                f"{others.oldest:%Y-%m-%d}; they go after {settings.PHOTO_OBJECTS_KEPT_DAYS} days:"
            )
            self.stdout.write("\n".join(others.keys))

    def _report(self, report: Report, size: int, since: int) -> None:
        differences = report.firsts()
        if not differences:
            held = (
                f" since {since}, and those before held to what was kept of them" if since else ""
            )
            what = f"{size} entries and all that follows from them{held}: no difference"
            self.stdout.write(what)
            return
        self.stderr.write(f"first difference: {differences[0]}")
        for one in differences:
            count = report.stores[one.store].count
            self.stderr.write(f"{one.store}: {count} in all, first at {one}")
        raise CommandError(f"{len(differences)} stores differ from the log of {size} entries")

    def _show(self, part: str, done: int, total: int) -> None:
        """A bar on the terminal; nothing where the output goes into a file, unless asked: then
        a line for each hundredth."""
        if sys.stderr.isatty():
            filled = WIDTH * done // max(total, 1)
            bar = "#" * filled + "." * (WIDTH - filled)
            end = "\n" if done == total else ""
            sys.stderr.write(f"\r{part} [{bar}] {done}/{total}{end}")
            sys.stderr.flush()
        elif self._asked and self._latest != (part, 100 * done // max(total, 1)):
            self._latest = (part, 100 * done // max(total, 1))
            self.stderr.write(f"{part}: position {done} of {total}")


def _require_present(file: Path, checkpoint: Checkpoint) -> None:
    """See that it is not of entries that the log admits to have lost."""
    closed = {name_of(one.old_key): one.position for one in successions()}
    kept = closed.get(checkpoint.origin)
    if kept is not None and checkpoint.size > kept:
        raise CommandError(
            f"{file} is of {checkpoint.origin}, which was closed at {kept} entries: that it lost "
            f"others is admitted in the log, and it cannot be compared at {checkpoint.size}."
        )

"""Make a backup with pgBackRest and write the stamp.

A full one if there is none of the last six days, else what changed since it. First it sees that
the archive takes what PostgreSQL writes, and lacks nothing since the backup before. Run it as
`postgres`, by timers: once a day, and for the archive alone each hour.
"""

import argparse
import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from backups import gaps, stamp
from backups.pgbackrest import STANZA, Made, Repository
from backups.programs import Failed, end_in_order, require

FULL_EACH: Final = timedelta(days=6, hours=12)
"""So that a daily timer makes a full one each week, on whatever day it began."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Make a backup; returns the exit status."""
    end_in_order()
    given = _parse(arguments)
    repository = Repository(given.stanza, given.config)
    archived = stamp.noted(given.stamp, "archive", lambda: _archived(repository))
    if given.archive:
        return 0 if archived else 1
    kept = stamp.noted(given.stamp, "backup", lambda: _backed_up(repository, given.type))
    return 0 if archived and kept else 1


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/backups/take", description=__doc__)
    parser.add_argument("--archive", action="store_true", help="look at the archive, and no more")
    parser.add_argument("--type", choices=("full", "diff", "incr"), help="instead of the choice")
    parser.add_argument("--stanza", default=STANZA, help="pgBackRest's name of the database")
    parser.add_argument("--config", help="pgBackRest's configuration, if not the usual file")
    parser.add_argument("--stamp", type=Path, default=stamp.STAMP, help="where the result is noted")
    return parser.parse_args(arguments)


def _archived(repository: Repository) -> str:
    require("pgbackrest", "pgbackrest")
    repository.check()
    if lost := gaps.missing(repository):
        raise Failed(
            f"the archive lacks {len(lost)} segments, {lost[0]} the first and {lost[-1]} the last. "
            "No moment from there to the end of the next good backup can be restored, unless a "
            "receiver has them. See “A full archive” in BACKUPS.md."
        )
    return "What PostgreSQL writes arrives in the archive, and nothing is missing there."


def _backed_up(repository: Repository, kind: str | None) -> str:
    require("pgbackrest", "pgbackrest")
    began = datetime.now(UTC).replace(microsecond=0)  # noqa: TID251  an entry point
    repository.run("backup", f"--type={kind or due(repository.made(), began)}")
    newest = repository.made()[-1]
    if newest.stopped_at < began:
        raise Failed(f"pgBackRest ended well, but its newest backup is of {newest.stopped_at}.")
    return f"{newest.label} ({newest.type}), {newest.bytes} bytes of database."


def due(made: Sequence[Made], now: datetime) -> str:
    """The type of the backup that is due."""
    full = [one.stopped_at for one in made if one.type == "full"]
    return "diff" if full and now - max(full) < FULL_EACH else "full"


if __name__ == "__main__":
    sys.exit(main())

"""Segments of PostgreSQL's log that the archive lacks although later ones are there.

pgBackRest throws them away beyond `archive-push-queue-max` and answers PostgreSQL that they are
archived, so that neither PostgreSQL nor `pgbackrest check` finds anything wrong afterwards.
"""

import re
from collections.abc import Collection, Iterator
from itertools import groupby
from pathlib import Path
from typing import Final

from backups.pgbackrest import Repository

SEGMENT: Final = re.compile(r"[0-9A-F]{24}")
"""A segment's name: of its timeline, its log and itself, eight hexadecimal digits each."""
TIMELINE: Final = 8
LOG_BYTES: Final = 2**32
"""What PostgreSQL's numbering calls one log."""


def missing(repository: Repository) -> list[str]:
    """Those after the start of the newest backup, that PostgreSQL was told are archived. None where
    there is no backup, or no database on this host: what waits for the archive cannot be told from
    what it lost then.

    Raises:
        Failed: the repository or the configuration cannot be read.
    """
    folders = [Path(one) / "pg_wal" for one in repository.configured()]
    # In this order: what reaches the archive in between still waited, or is there.
    waiting = {one.stem for each in folders for one in each.glob("archive_status/*.ready")}
    bytes_each = next((one.stat().st_size for each in folders for one in _segments(each)), None)
    made = repository.made()
    if not made or bytes_each is None:
        return []
    held = repository.archived(made[-1])
    return [one for one in between(held, LOG_BYTES // bytes_each) if one not in waiting]


def between(held: Collection[str], a_log: int) -> Iterator[str]:
    """The segments that lie between these and are none of them. ``a_log``: how many make a log."""
    for timeline, names in groupby(sorted(held), key=lambda name: name[:TIMELINE]):
        numbers = [_number(name, a_log) for name in names]
        for number in sorted(set(range(numbers[0], numbers[-1])) - set(numbers)):
            log, segment = divmod(number, a_log)
            yield f"{timeline}{log:08X}{segment:08X}"


def _number(name: str, a_log: int) -> int:
    return int(name[TIMELINE:16], 16) * a_log + int(name[16:], 16)


def _segments(folder: Path) -> Iterator[Path]:
    return (one for one in folder.glob("*") if SEGMENT.fullmatch(one.name))

"""Letters to the operators about backups: one failed, or none was made in time.

Each trouble is told once on a day on which something was tried, and again each week that it lasts.
What a program said of it is in no letter: its words may hold names and addresses.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Final, Literal, NamedTuple
from uuid import UUID, uuid5

import structlog
from django.conf import settings

from scalewitness.letters.owing import Owing
from scalewitness.monitoring import pulse
from scalewitness.monitoring.backups import (
    DRILL_WITHIN,
    Attempt,
    NotKnown,
    attempts,
    is_configured,
)
from scalewitness.people.queries import verified_keeper

log = structlog.get_logger()

AGAIN: Final = timedelta(days=7)
"""Whoever was away for the first letter, or put it off, reads the next (our judgement)."""
NONE: Final = timedelta()
TROUBLES: Final = UUID("0b8c4c53-1f1e-4b0a-9d60-2a0e6a1f6c2d")
"""Under which each trouble is given the id that makes it one cause."""


class Trouble(NamedTuple):
    """``part``: backup, archive or drill. ``since`` when: an attempt failed, or one went well for
    the last time; None where none is known of. ``cause``: the same for what one letter tells of."""

    part: str
    how: Literal["failed", "overdue", "unknown"]
    since: datetime | None
    good_at: datetime | None
    cause: str


def look_at_backups(now: datetime) -> int:
    """Tell the operators what is wrong with backups, and `/metrics` how old the newest is where a
    command tells; how many troubles there are."""
    if not is_configured():
        return 0
    found: dict[str, Attempt] = {}
    try:
        found = attempts()
    except NotKnown as fault:
        log.warning("backups_unknown", error=type(fault.__cause__).__name__)
    if not settings.BACKUP_STAMP:
        pulse.note_backup(found["backup"].timestamp if found else 0.0)
    troubles = list(_troubles(found, now))
    for one in troubles:
        _tell(one, now)
    return len(troubles)


def _troubles(found: Mapping[str, Attempt], now: datetime) -> Iterator[Trouble]:
    if not found:
        yield Trouble("backup", "unknown", None, None, f"unknown {now:%G-%V}")
    within = {"backup": timedelta(seconds=settings.BACKUP_WITHIN), "drill": DRILL_WITHIN}
    for part, one in found.items():
        last = one.good_at
        if not one.ok and one.at is not None:
            week = (now - one.at) // AGAIN
            yield Trouble(part, "failed", one.at, last, f"{part} failed {one.at.date()} {week}")
        elif last is not None and part in within and (late := now - last - within[part]) > NONE:
            week = late // AGAIN
            yield Trouble(part, "overdue", last, last, f"{part} overdue {last} {week}")


def _tell(trouble: Trouble, now: datetime) -> None:
    """Those of `OPERATORS` who proved that the address is theirs."""
    owing = Owing(None, now)
    for address in settings.OPERATORS:
        if (keeper := verified_keeper(address)) is None:
            continue
        owing.owe(
            "backup_trouble",
            cause=uuid5(TROUBLES, trouble.cause),
            recipient=keeper.pk,
            to=address,
            context={
                "to_name": keeper.name,
                "part": trouble.part,
                "how": trouble.how,
                "since": trouble.since and trouble.since.isoformat(),
                "good_at": trouble.good_at and trouble.good_at.isoformat(),
            },
        )
    if not owing.any:
        log.warning("nobody_to_tell", about=f"{trouble.part} {trouble.how}", setting="OPERATORS")

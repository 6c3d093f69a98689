"""Noticing that the log's database was restored, set back or replaced.

A restored database remembers nothing of what came after it, and says nothing of it either. But
PostgreSQL writes another timeline after each recovery, and a cluster made anew has another
identifier. What is on the same disk and was set back as a whole, by a snapshot of the disk, shows
neither: that, only `LOG_MEMORY` tells.
"""

from datetime import datetime
from typing import Final

from scalewitness.ledger.models import Timeline
from scalewitness.ledger.queries.prepared import asked
from scalewitness.ledger.queries.tree import last_signed, tip
from scalewitness.ledger.services.memory import remembered

MOVED: Final = (
    "PostgreSQL was restored from a backup, promoted or replaced since this log was last seen "
    "whole, and no file of LOG_MEMORY shows that nothing signed since is missing here."
)
HERE: Final = """
SELECT system_identifier::text,
  ('x' || left(pg_walfile_name(pg_current_wal_insert_lsn()), 8))::bit(32)::bigint
FROM pg_control_system()
"""
"""The first eight digits of a segment's name are its timeline (PostgreSQL's documentation, "WAL
Internals"); that of the last checkpoint may still be the one before."""


def unshown_move(now: datetime) -> str | None:
    """Why the log may lack something on the server it is on now, in a sentence; None where it is
    the one it was on, or where the file of `LOG_MEMORY` outlived the other: that reaches as far
    as all that this database knows to have been given out. Then the new server is noted.

    To be asked once nothing speaks against the log (`fencing.contradiction`).

    Raises:
        Unreliable, OSError: as :func:`memory.remembered`.
    """
    last = _last()
    if last not in {None, _here()}:
        kept, signed = remembered(), last_signed()
        if signed is not None and (kept is None or kept.size < signed[0]):
            return MOVED
    note_server(now)
    return None


def note_server(now: datetime) -> None:
    """Note that the log is whole on the server it is on."""
    here = _here()
    if _last() != here:
        system, timeline = here
        Timeline.objects.create(system=system, timeline=timeline, size=tip().size, at=now)


def _last() -> tuple[str, int] | None:
    return Timeline.objects.order_by("-pk").values_list("system", "timeline").first()


def _here() -> tuple[str, int]:
    ((system, timeline),) = asked(HERE)
    return system, timeline

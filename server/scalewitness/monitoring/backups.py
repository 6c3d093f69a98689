"""When a backup and a restore drill last went well: by the file that says so (`BACKUP_STAMP`), or
by a command that is asked (`BACKUP_INFO_COMMAND`)."""

import json
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import msgspec
from django.conf import settings

DRILL_WITHIN: Final = timedelta(days=9)
"""One is due each week."""
COMMAND_WITHIN: Final = 60
"""Seconds."""


class NotKnown(Exception):
    """Nobody can tell; the text says why."""


class Attempt(msgspec.Struct, frozen=True):
    """The last one of a sort: whether it went well, in which ``words``; when one last did
    (``good_at``), and when this one was made (``at``)."""

    ok: bool
    good_at: datetime | None
    words: str = ""
    at: datetime | None = None

    @property
    def timestamp(self) -> float:
        """Of the last that went well; 0: none did."""
        return self.good_at.timestamp() if self.good_at else 0.0


def is_configured() -> bool:
    """Whether the settings name anything that tells."""
    return bool(settings.BACKUP_STAMP or settings.BACKUP_INFO_COMMAND)


def attempts() -> dict[str, Attempt]:
    """By what was attempted: ``backup``, and where the stamp tells of them ``archive`` and
    ``drill``. Of a file that somebody only touches, as an own backup job may, its time is the
    backup's. The command is run, which may take a while.

    Raises:
        NotKnown: there is no such file, it cannot be read, or says something else; or the command
            failed, or printed no sound backup.
    """
    try:
        return _by_stamp() if settings.BACKUP_STAMP else _by_command()
    except (OSError, ValueError, KeyError, TypeError, subprocess.SubprocessError) as fault:
        raise NotKnown(f"{fault}" or type(fault).__name__) from fault


def _by_stamp() -> dict[str, Attempt]:
    path = Path(settings.BACKUP_STAMP)
    text = path.read_text()
    if not text.lstrip().startswith("{"):
        touched = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        return {"backup": Attempt(ok=True, good_at=touched)}
    found = msgspec.convert(json.loads(text), dict[str, Attempt])
    return {"backup": found["backup"], **found}


def _by_command() -> dict[str, Attempt]:
    """The newest backup without a fault, as pgBackRest's ``info`` tells of them."""
    printed = subprocess.run(  # noqa: S603  the operator's own command
        ["/bin/sh", "-c", settings.BACKUP_INFO_COMMAND],
        capture_output=True,
        text=True,
        timeout=COMMAND_WITHIN,
        check=True,
    ).stdout
    sound = [
        one for stanza in json.loads(printed) for one in stanza["backup"] if not one.get("error")
    ]
    newest = max(float(one["timestamp"]["stop"]) for one in sound)
    return {"backup": Attempt(ok=True, good_at=datetime.fromtimestamp(newest, UTC))}

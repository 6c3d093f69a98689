"""When a backup and a restore drill last went well, by the file that says so (`BACKUP_STAMP`)."""

import json
from datetime import datetime
from pathlib import Path

import msgspec
from django.conf import settings


class Attempt(msgspec.Struct, frozen=True):
    """The last one of a sort: whether it went well, in which ``words``, and when one last did."""

    ok: bool
    good_at: datetime | None
    words: str = ""

    @property
    def timestamp(self) -> float:
        """Of the last that went well; 0: none did."""
        return self.good_at.timestamp() if self.good_at else 0.0


def attempts() -> dict[str, Attempt]:
    """By what was attempted: ``backup``, ``archive``, ``drill``. Of a file that somebody only
    touches, as an own backup job may, its time is the backup's.

    Raises:
        OSError: there is no such file, or it cannot be read.
        ValueError: it says something else.
    """
    path = Path(settings.BACKUP_STAMP)
    text = path.read_text()
    if not text.lstrip().startswith("{"):
        touched = datetime.fromtimestamp(path.stat().st_mtime).astimezone()
        return {"backup": Attempt(ok=True, good_at=touched)}
    return msgspec.convert(json.loads(text), dict[str, Attempt])

"""Ids and times that come out the same on every run."""

import re
from datetime import UTC, date, datetime, time, timedelta
from hashlib import sha256

from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339

WRITTEN = datetime(2026, 11, 1, tzinfo=UTC)
"""The time inside every derived id; it claims nothing else."""

_DAYS = re.compile(r"([+-]\d+)d")
_MOMENT = re.compile(r"([+-]\d+)d (\d{2}:\d{2})")


def fixed_id(kind: str, key: str) -> str:
    """The UUIDv7 that stands for this thing in the data, always the same."""
    digest = sha256(f"fixtures_demo/{kind}/{key}".encode()).digest()
    return str(uuid7(round(WRITTEN.timestamp() * 1000), digest[:10]))


class Calendar:
    """Reads ``-40d`` and ``-40d 18:30`` (UTC) as counted from the day of the first run."""

    def __init__(self, first_run: date) -> None:
        self.first_run = first_run

    def day(self, text: str) -> str:
        """An ISO date. Raises ValueError for another spelling."""
        found = _DAYS.fullmatch(text)
        if found is None:
            raise ValueError(f"“{text}” is not a number of days such as -40d")
        return (self.first_run + timedelta(days=int(found[1]))).isoformat()

    def at(self, text: str) -> datetime:
        """A moment in UTC. Raises ValueError for another spelling."""
        found = _MOMENT.fullmatch(text)
        if found is None:
            raise ValueError(f"“{text}” is not a moment such as -40d 18:30")
        day = self.first_run + timedelta(days=int(found[1]))
        return datetime.combine(day, time.fromisoformat(found[2]), UTC)

    def moment(self, text: str) -> str:
        """A moment as the record writes it."""
        return rfc3339(self.at(text))

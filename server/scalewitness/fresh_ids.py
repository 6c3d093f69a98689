"""Ids of what the record itself brings about."""

import os
from datetime import datetime
from uuid import UUID

from scalewitness.domain.ids import uuid7


def fresh_id(now: datetime) -> UUID:
    """A UUIDv7, in order of time to the millisecond."""
    return uuid7(round(now.timestamp() * 1000), os.urandom(10))

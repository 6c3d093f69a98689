"""Facts as a trial's clients send them."""

import os
import time
from datetime import UTC, datetime
from typing import Any

from scalewitness.domain.ids import uuid7
from scalewitness.domain.moments import rfc3339


def fresh_id() -> str:
    return str(uuid7(time.time_ns() // 1_000_000, os.urandom(10)))


def fact(kind: str, about: str, body: dict[str, Any]) -> dict[str, Any]:
    """Stated now, by this machine's clock."""
    at = rfc3339(datetime.now(UTC))  # noqa: TID251  a client's clock
    return {"id": fresh_id(), "kind": kind, "at": at, "about": about, "body": body}

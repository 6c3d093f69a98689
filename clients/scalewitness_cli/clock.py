"""This machine's clock beside the server's: how far it is off, and whether that is known.

Each answer of the server tells its time. Between two looks at this machine's clock the time
since it was started tells, where the system counts it, whether the clock was set in between:
then what was measured at one of them says nothing of the other.
"""

import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Literal

import msgspec

from scalewitness.domain.clocks import way_off
from scalewitness.domain.moments import rfc3339

SLACK = 300
"""Seconds that a clock may be off and nobody minds, as the server has it."""
STEADY = 60.0
"""Seconds by which two measures may differ without the clock having been set: one that runs
freely gains or loses a few a day (our judgement)."""


class Reading(msgspec.Struct, frozen=True):
    """``local``: Unix seconds by this machine's clock. ``since`` it was started, seconds,
    sleep included, and which start that was; None where the system does not tell."""

    local: float
    boot: str | None = None
    since: float | None = None


class Compared(msgspec.Struct, frozen=True):
    """``server``: Unix seconds by the server's clock when this machine's read ``here``."""

    server: float
    here: Reading

    @property
    def offset(self) -> int:
        """Whole seconds, server minus this machine. The server tells its time cut to the
        second."""
        return round(self.server + 0.5 - self.here.local)


class Verdict(msgspec.Struct, frozen=True):
    """What is known of the clock at a reading. Where it is ``off``: by how many seconds, and
    the server's time when that was measured. Where that is ``unknown``: what time it was
    ``about``, by the time since the machine was started, if that is known."""

    state: Literal["right", "off", "unknown"]
    offset: int = 0
    measured_at: float = 0.0
    about: float | None = None


RIGHT = Verdict("right")


def read_clock() -> Reading:
    return Reading(time.time(), _boot(), _since())


@cache
def _boot() -> str | None:
    with suppress(OSError):
        return Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
    return None


def _since() -> float | None:
    kind = getattr(time, "CLOCK_BOOTTIME", None)
    return None if kind is None else time.clock_gettime(kind)


def judged(reading: Reading, before: Compared | None, after: Compared | None = None) -> Verdict:
    """What the clock was worth at a reading, by what was compared before and after it."""
    known = [one for one in (after, before) if one is not None]
    for one in known:
        if _lasted(reading, one):
            return _by_size(one)
    about = next(_about(reading, known), None)
    if about is not None:
        return Verdict("unknown", about=about)
    if before and after and abs(before.offset - after.offset) <= STEADY:
        return _by_size(after)
    if all(abs(one.offset) < SLACK for one in known) and not _ran_back(reading, before):
        return RIGHT
    return Verdict("unknown")


def time_by(reading: Reading, compared: Compared | None) -> datetime:
    """What time it most likely is: by the server's clock, as far as anything is known of it."""
    if compared is None:
        return moment(reading.local)
    about = next(_about(reading, [compared]), None)
    by_offset = max(reading.local + compared.offset, compared.server)
    return moment(by_offset if about is None else about)


def moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def in_words(verdict: Verdict) -> str:
    """Of this machine's clock, for whoever sits at it."""
    if verdict.state == "right":
        return ""
    if verdict.state == "off":
        off = way_off(timedelta(seconds=verdict.offset))
        when = minute(moment(verdict.measured_at))
        return f"This computer's clock is {off}, as compared with the server's on {when}."
    about = f" It was about {minute(moment(verdict.about))}." if verdict.about is not None else ""
    return (
        "This computer's clock was set since it was last compared with the server's, so how far "
        f"it is off is not known.{about}"
    )


def minute(when: datetime) -> str:
    return f"{when.day} {when:%B %Y}, {when:%H:%M} UTC"


def correction(read: str, verdict: Verdict) -> dict[str, str]:
    """The member ``corrected`` of a fact whose time was ``read`` from a clock that is off."""
    return {
        "read": read,
        "offset": str(verdict.offset),
        "measured_at": rfc3339(moment(verdict.measured_at)),
    }


def _by_size(compared: Compared) -> Verdict:
    if abs(compared.offset) < SLACK:
        return RIGHT
    return Verdict("off", compared.offset, compared.server)


def _lasted(reading: Reading, compared: Compared) -> bool:
    """Whether the clock ran on by itself between the two, surely."""
    span = _span(reading, compared)
    return span is not None and abs(reading.local - compared.here.local - span) <= STEADY


def _about(reading: Reading, known: list[Compared]) -> Iterator[float]:
    """The server's time at the reading, by the time since this machine was started."""
    for one in known:
        span = _span(reading, one)
        if span is not None:
            yield one.server + span


def _span(reading: Reading, compared: Compared) -> float | None:
    """Seconds that passed from one to the other; None over a start, or where none are told."""
    here = compared.here
    if reading.boot is None or reading.boot != here.boot:
        return None
    if reading.since is None or here.since is None:
        return None
    return reading.since - here.since


def _ran_back(reading: Reading, before: Compared | None) -> bool:
    """Whether the clock says a time before the last contact."""
    return before is not None and reading.local < before.server - SLACK

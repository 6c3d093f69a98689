"""Times as the record writes them: UTC, milliseconds, a trailing ``Z`` (RFC 3339)."""

import re
from datetime import UTC, datetime

_RFC3339 = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d{1,9})?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)


def rfc3339(moment: datetime) -> str:
    """``2026-11-25T09:30:00.000Z``; the moment must carry an offset."""
    if moment.tzinfo is None:
        raise ValueError("a moment without an offset")
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(timespec="milliseconds") + "Z"


def to_the_microsecond(moment: datetime) -> str:
    """``2026-11-25T09:30:00.000000Z``: as :func:`rfc3339`, as exact as a row keeps it."""
    if moment.tzinfo is None:
        raise ValueError("a moment without an offset")
    utc = moment.astimezone(UTC).replace(tzinfo=None)
    return utc.isoformat(timespec="microseconds") + "Z"


def parse_moment(text: str) -> datetime:
    """A moment from RFC 3339 text; an offset is required, finer than a millisecond is cut.

    Raises:
        ValueError: not RFC 3339, or no such date.
    """
    if not _RFC3339.fullmatch(text):
        raise ValueError("not an RFC 3339 date and time with an offset")
    try:
        moment = datetime.fromisoformat(text.upper()).astimezone(UTC)
    except OverflowError:
        raise ValueError("not within the years 1 to 9999, UTC") from None
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)

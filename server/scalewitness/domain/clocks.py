"""A device's clock compared with the record's: how far off it was, and a time corrected by it.

What a device's clock says is a claim like any other, and so is a corrected time. Nobody may
claim more by it: the corrected time is held to every limit that a time read from the clock is.
"""

from datetime import datetime, timedelta

from scalewitness.domain.facts import Corrected
from scalewitness.domain.moments import parse_moment

DAY, HOUR, MINUTE = 86_400, 3_600, 60


def offset_of(corrected: Corrected) -> timedelta:
    """The record's clock minus the device's."""
    return timedelta(seconds=int(corrected.offset))


def corrected_time(corrected: Corrected) -> datetime:
    """What the device's clock said, put right.

    Raises:
        ValueError, OverflowError: there is no such moment.
    """
    return parse_moment(corrected.read) + offset_of(corrected)


def span_in_words(span: timedelta) -> str:
    """``2 days``, ``1 day and 3 hours``, ``40 minutes``: rounded to the two largest units that
    fit, whichever way it points."""
    seconds = abs(round(span.total_seconds()))
    finest = HOUR if seconds >= DAY else MINUTE if seconds >= HOUR else 1
    seconds = (seconds + finest // 2) // finest * finest
    parts = (
        (seconds // DAY, "day"),
        (seconds % DAY // HOUR, "hour"),
        (seconds % HOUR // MINUTE, "minute"),
        (seconds % MINUTE, "second"),
    )
    first = next((place for place, (count, _) in enumerate(parts) if count), 3)
    parts_named = [_counted(*one) for one in parts[first : first + 2] if one[0]]
    return " and ".join(parts_named) or "0 seconds"


def way_off(span: timedelta) -> str:
    """``2 days behind`` or ``40 minutes ahead``, of a clock that ``span`` must be added to."""
    return f"{span_in_words(span)} {'behind' if span > timedelta() else 'ahead'}"


def correction_in_words(corrected: Corrected) -> str:
    """What became of the time, for whoever reads it; it blames nobody."""
    return (
        f"The time was corrected: the device's clock said {_minute(corrected.read)} and was "
        f"{way_off(offset_of(corrected))}, as measured by the record's clock on "
        f"{_minute(corrected.measured_at)}."
    )


def _minute(text: str) -> str:
    when = parse_moment(text)
    return f"{when.day} {when:%B %Y}, {when:%H:%M} UTC"


def _counted(count: int, unit: str) -> str:
    return f"{count} {unit}{'' if count == 1 else 's'}"

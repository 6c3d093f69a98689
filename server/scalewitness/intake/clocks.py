"""When something is said to have been: what a device's clock may claim."""

from collections.abc import Callable
from datetime import datetime, timedelta

from scalewitness.domain import facts
from scalewitness.domain.clocks import corrected_time, offset_of
from scalewitness.domain.errors import FutureDate, OutOfRange, WrongShape
from scalewitness.domain.moments import parse_moment

CLOCK_SLACK = timedelta(minutes=5)
CLOCK_LIMIT = timedelta(hours=24)
EARLIEST_YEAR = 1950
"""Nobody's record reaches further back (our judgement, an input guard only)."""
FARTHEST_OFF = timedelta(days=36_525)
"""A clock whose battery was empty begins in 1970, one set by hand may be further off (our
judgement, an input guard only)."""
LONGEST_BETWEEN = timedelta(days=366)
"""Between the time corrected and the measuring of the offset: nobody is without a signal for
longer, and a clock may have been set any number of times since (our judgement)."""


def claimed_at(text: str, received_at: datetime) -> tuple[datetime, tuple[str, ...]]:
    """The time claimed for a fact, with flags.

    Raises:
        WrongShape, FutureDate, OutOfRange: it cannot be.
    """
    try:
        at = parse_moment(text)
    except ValueError as problem:
        raise WrongShape(f"“at” is {problem}.", pointer="/at") from None
    if at > received_at + CLOCK_LIMIT:
        raise FutureDate("“at” is more than a day ahead of the server's clock.", pointer="/at")
    if at.year < EARLIEST_YEAR:
        raise OutOfRange(f"“at” lies before {EARLIEST_YEAR}.", pointer="/at")
    return at, ("clock_ahead",) if at > received_at + CLOCK_SLACK else ()


def check_correction(body: facts.Body, at: datetime, received_at: datetime) -> None:
    """A time said to be corrected is what the device's clock said plus the offset measured.

    It gives no more leave than ``at`` has by itself: whoever could lie here could as well
    claim the corrected time alone.

    Raises:
        OutOfRange, FutureDate: with a JSON pointer.
    """
    correction = getattr(body, "corrected", None)
    if not isinstance(correction, facts.Corrected):
        return
    if abs(offset_of(correction)) > FARTHEST_OFF:
        raise OutOfRange("No clock is that far off.", pointer="/body/corrected/offset")
    if at != _moment(lambda: corrected_time(correction), "read"):
        raise OutOfRange(
            "“at” is what the device's clock said plus the offset.", pointer="/body/corrected"
        )
    measured = _moment(lambda: parse_moment(correction.measured_at), "measured_at")
    if measured > received_at + CLOCK_SLACK:
        raise FutureDate(
            "The offset would have been measured in the future.",
            pointer="/body/corrected/measured_at",
        )
    if abs(measured - at) > LONGEST_BETWEEN:
        raise OutOfRange(
            "The offset was measured too long before or after.",
            pointer="/body/corrected/measured_at",
        )


def _moment(found: Callable[[], datetime], field: str) -> datetime:
    try:
        return found()
    except (ValueError, OverflowError):
        raise OutOfRange("There is no such moment.", pointer=f"/body/corrected/{field}") from None

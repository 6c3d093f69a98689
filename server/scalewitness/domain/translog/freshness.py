"""How old the newest state is that a log signed, and whether it promised a newer one by now.

The log's own time is in its last entry, under its signature. The reader's clock may be wrong, so
what comes of the two is a sentence and never an alarm.
"""

from datetime import datetime, timedelta
from typing import Final

LONGEST_PROMISE: Final = timedelta(days=7)
"""A log that promises no more than this is taken to have promised it: whoever holds a state back
could also publish that a newer one takes a year (our judgement)."""
SLACK: Final = timedelta(minutes=5)
"""How far two clocks may differ and nobody minds, as for devices."""


def overdue(signed_at: datetime, now: datetime, signs_within: int) -> str:
    """What is to be said of a state signed at ``signed_at`` by the log's clock, ``now`` by the
    reader's, where the log promised a newer one ``signs_within`` so many seconds; empty where all
    is well."""
    promised = min(timedelta(seconds=signs_within), LONGEST_PROMISE)
    reads = f"this computer's clock, which reads {now:%Y-%m-%d %H:%M} UTC"
    if signed_at - now > SLACK:
        return (
            f"The newest state shown was signed {_long(signed_at - now)} ahead of {reads}. Either "
            "that clock is slow or the log's is fast; how old the state is cannot be told."
        )
    if now - signed_at <= promised + SLACK:
        return ""
    return (
        f"The newest state shown is {_long(now - signed_at)} old by {reads}; the log promises one "
        f"every {_long(promised)}. Either that clock is fast, or the log has stood still, or you "
        "are shown an old state: compare it with what somebody else is shown."
    )


def _long(time: timedelta) -> str:
    for unit, name in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        number = int(time.total_seconds() // unit)
        if number >= (2 if unit > 60 else 1):
            return f"{number} {name}{'s' if number > 1 else ''}"
    return "1 minute"

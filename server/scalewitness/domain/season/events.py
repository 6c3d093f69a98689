"""What may be seen of a pairing in its season, in the order in which it comes, and what is
counted of it."""

from collections.abc import Mapping
from typing import Final, Literal, get_args

Event = Literal[
    "put_together",
    "seen_together",
    "apart",
    "ovulation",
    "shed_before_laying",
    "laid",
    "incubating",
    "hatched",
    "born",
]
"""In live-bearers the shed is the one after ovulation."""
EVENTS: Final[tuple[Event, ...]] = get_args(Event)

COUNTED: Final[Mapping[Event, tuple[str, ...]]] = {
    "laid": ("good", "slugs"),
    "hatched": ("young", "dead_in_shell"),
    "born": ("live", "stillborn", "slugs"),
    "incubating": ("celsius",),
}
"""What is counted or measured of an event; of any other, nothing."""

SEEN: Final[Mapping[str, str]] = {
    "put_together": "put together",
    "seen_together": "seen together",
    "apart": "apart",
    "ovulation": "ovulation seen",
    "shed_before_laying": "shed before laying",
    "laid": "eggs laid",
    "incubating": "in the incubator",
    "hatched": "hatched",
    "born": "young born",
}
"""In words, after whatever says whose and when."""

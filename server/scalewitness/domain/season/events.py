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

COUNTS: Final[Mapping[str, str]] = {
    "good": "Good eggs",
    "slugs": "Slugs",
    "young": "Young out of the egg",
    "dead_in_shell": "Dead in the shell",
    "live": "Live young",
    "stillborn": "Stillborn",
    "celsius": "Temperature in °C",
}
Mode = Literal["eggs", "live", "unknown"]

SEEN: Final[Mapping[str, str]] = {
    "put_together": "put together",
    "seen_together": "seen together",
    "apart": "apart",
    "ovulation": "ovulation seen",
    "shed_before_laying": "shed before laying or birth",
    "laid": "eggs laid",
    "incubating": "in the incubator",
    "hatched": "hatched",
    "born": "young born",
}
"""In words, after whatever says whose and when."""

EXPECTED: Final[Mapping[Event, str]] = {
    "ovulation": "ovulation",
    "shed_before_laying": "the shed before laying or birth",
    "laid": "eggs",
    "hatched": "hatching",
    "born": "birth",
}
"""The events that are expected of others, as what is to come."""

CAUTIONS: Final[Mapping[Event, str]] = {
    "put_together": "Only animals that are well, fed and of full weight, and never one that was "
    "brought in without its weeks apart first. Look after them often; take them apart if they "
    "fight or one is bitten.",
    "ovulation": "From now on leave her alone as far as you can: no probe, no eversion, no lifting "
    "by the middle of the body.",
    "shed_before_laying": "She needs a warm, moist and quiet place now, and no check at all. If "
    "she strains and nothing comes, or a lump stays, see a veterinarian for reptiles the same day.",
    "laid": "Do not turn eggs that have lain for a day. She is thin now: water first, then small "
    "meals. If eggs seem to be left inside, see a veterinarian for reptiles.",
    "born": "If she strains on without bearing, see a veterinarian for reptiles the same day.",
    "hatched": "Let them leave the egg by themselves; the yolk is taken up within a day or two.",
}
"""Said where an event is noted. Common practice, no source."""


def offered(mode: Mode) -> list[Event]:
    """The events that can come in a species of that mode; all where it is not known."""
    left: Mapping[Mode, tuple[Event, ...]] = {
        "eggs": ("born",),
        "live": ("laid", "incubating", "hatched"),
    }
    return [what for what in EVENTS if what not in left.get(mode, ())]

"""What keepers do in a year and in its busiest hours, for `hobby.py`: assumptions and arithmetic.

A figure without a source is our judgement. Nobody counts keepers' doings, so each stands here by
itself, to be changed.
"""

from collections.abc import Mapping
from typing import NamedTuple

ANIMALS = 20
"""Of a keeper, on the mean: many have three, a few have hundreds (our judgement)."""
BREEDERS = 0.25
"""Share of keepers who breed (our judgement)."""
FEMALES = 4
"""Of breeding age, of a breeder (our judgement)."""
LAY = 0.5
"""Of them in a year. Half of female boas breed in a year (liquisearch.com, quoting others); of
pythons no figure was found."""
YOUNG = 7
"""In a clutch: usually 6 to 8 of a ball python in captivity (biologyinsights.com); wild ones had
8.1 on the mean (Gorzula, Nsiah and Oduro 1997, survey for CITES, Ghana)."""
CLUTCHES = BREEDERS * FEMALES * LAY
NOTE_MEALS = 1 / 3
"""Share of keepers who note what they feed (our judgement)."""
ROUNDS = 64
"""In a year: a meal each week, a weight each month (our judgement)."""
OPENED = 150
"""Times in a year that a keeper has the phone at the racks (our judgement)."""
OPEN_MINUTES = 15
"""Each time (our judgement)."""
TURN_SECONDS = 25
"""A phone that is open asks again so often, as long as it finds a place to wait in
(`clients/rackside/app/listening.js`)."""

SUNDAY, EVENING = 1.75, 0.15
"""The busiest day of a week in mean days, and its busiest hour in that day (our judgement)."""
SEASON_DAYS, SEASON_SHARE = 42, 0.5
"""Half of what hatches in a year does in six weeks (our judgement: boids reproduce by season,
Pizzatto and Marques 2007, but no spread of dates was found)."""
FAIR_SHARE, FAIR_DAYS, FAIR_HOUR = 0.1, 2, 0.2
"""Of a year's sales so many fall on the largest fair, on each of its days the same, a fifth of it
in one hour (our judgement)."""

PLAIN_HOUR = SUNDAY * EVENING / 365
SEASON_HOUR = SEASON_SHARE / SEASON_DAYS * SUNDAY * EVENING
FAIR_SALES = FAIR_SHARE / FAIR_DAYS * FAIR_HOUR


class Doing(NamedTuple):
    """One kind of operation, of one keeper. ``hatch`` and ``fair``: the share of the year's that
    falls into the busiest hour of the hatch season and of a fair's weekend."""

    a_year: float
    because: str
    hatch: float = PLAIN_HOUR
    fair: float = PLAIN_HOUR

    def hourly(self, hour: str) -> float:
        return self.a_year * (self.hatch if hour == "hatch" else self.fair)


HOURS = ("hatch", "fair")
DOINGS: Mapping[str, Doing] = {
    "turn": Doing(
        OPENED * OPEN_MINUTES * 60 / TURN_SECONDS,
        f"the phone is open {OPENED} times for {OPEN_MINUTES} minutes, and asks what is new",
    ),
    "opening": Doing(OPENED, "the phone is opened: feed, visits, sheets"),
    "page": Doing(500, "100 times at a desk, five pages each", fair=2 * PLAIN_HOUR),
    "sign-in": Doing(26, "a browser is signed in for two weeks (Django's default)"),
    "round": Doing(
        ROUNDS * NOTE_MEALS,
        f"a third of keepers note {ROUNDS} rounds of {ANIMALS} meals or weights",
    ),
    "animal": Doing(4, "a fifth of the animals are new in a year", fair=FAIR_SALES),
    "call": Doing(6, "three of ten animals are checked by their keeper"),
    "visit": Doing(1, "one blind visit of six animals"),
    "clutch": Doing(
        CLUTCHES,
        f"a quarter breed {FEMALES} females, half of which lay {YOUNG}",
        hatch=SEASON_HOUR,
    ),
    "photo": Doing(
        ANIMALS + 2 * YOUNG * CLUTCHES,
        "one of each animal, two of each young",
        hatch=SEASON_HOUR,
    ),
    "sale": Doing(
        0.7 * YOUNG * CLUTCHES, "seven of ten young are sold by the record", fair=FAIR_SALES
    ),
}


def open_at_once(keepers: int) -> float:
    """Phones in the busiest hour; each waits for a change."""
    return keepers * OPENED * PLAIN_HOUR * OPEN_MINUTES / 60


def in_hour(hour: str, keepers: int) -> dict[str, float]:
    """Operations of each kind in the busiest hour."""
    return {name: keepers * one.hourly(hour) for name, one in DOINGS.items()}

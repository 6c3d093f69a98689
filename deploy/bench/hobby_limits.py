"""From what operations cost, and how many there are, to what gives out first. Only arithmetic, for
`hobby.py`."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from hobby_costs import GROUPS, Cost
from hobby_year import DOINGS, HOURS, in_hour, open_at_once

PROCESSES = 2
"""Of the web, as `scalewitness.serving.web_server` starts them."""
POOL = 64
"""Connections to PostgreSQL that each may open (`DATABASE_POOL_MAX`)."""
A_SUBJECT = 1.47 / 10_000
"""Seconds of a signature for each subject of which something is new (`map.py`, idle machine)."""
SUBJECTS: Mapping[str, int] = {
    "round": 20, "animal": 1, "call": 1, "visit": 7, "clutch": 8, "photo": 1, "sale": 1,
}  # fmt: skip
"""That an operation says something of."""
WRITES: Mapping[str, int] = {
    "round": 1, "animal": 1, "call": 1, "visit": 3, "clutch": 3, "photo": 1, "sale": 4,
}  # fmt: skip
"""Pushes of an operation that the log grows by, each of which wakes all who wait."""
DISK = 500e9
"""Bytes of a machine's disk (our judgement)."""


@dataclass(frozen=True)
class Capacity:
    """What one machine was measured to have. ``letters`` a second; ``places`` to wait in;
    ``waking``: core seconds for one who waits to look at one push that is none of theirs."""

    cores: float
    letters: float
    places: int
    waking: float


class Share(NamedTuple):
    """Of ``what`` there is, so much is wanted; above 1 it does not suffice. ``how`` it is known."""

    what: str
    hour: str
    wanted: float
    there_is: float
    how: str

    @property
    def used(self) -> float:
        return self.wanted / self.there_is


def shares(
    keepers: int, costs: Mapping[str, Cost], idle: Mapping[str, float], capacity: Capacity
) -> list[Share]:
    """The fullest first; of each kind the fuller of the two hours."""
    found = [one for hour in HOURS for one in _in(hour, keepers, costs, idle, capacity)]
    fullest: dict[str, Share] = {}
    for one in sorted(found, key=lambda one: -one.used):
        fullest.setdefault(one.what, one)
    return sorted(fullest.values(), key=lambda one: -one.used)


def _in(
    hour: str,
    keepers: int,
    costs: Mapping[str, Cost],
    idle: Mapping[str, float],
    capacity: Capacity,
) -> list[Share]:
    done = in_hour(hour, keepers)
    a_second = {name: count / 3600 for name, count in done.items()}
    cores = sum(a_second[name] * costs[name].milliseconds / 1000 for name in done)
    web = sum(a_second[name] * costs[name].cores["web"] / 1000 for name in done)
    held = sum(a_second[name] * costs[name].held / 1000 for name in done)
    letters = sum(a_second[name] * costs[name].letters for name in done)
    writes = sum(a_second[name] * WRITES.get(name, 0) for name in done)
    subjects = sum(a_second[name] * SUBJECTS.get(name, 0) for name in done)
    served = sum(a_second[name] * costs[name].requests * costs[name].middle / 1000 for name in done)
    extrapolated = "a measured cost times the assumed number"
    return [
        Share("places to wait in", hour, open_at_once(keepers), capacity.places, "counted"),
        Share("cores", hour, cores + sum(idle.values()), capacity.cores, extrapolated),
        Share(
            "cores to wake who waits",
            hour,
            open_at_once(keepers) * writes * capacity.waking,
            capacity.cores,
            "a measured cost times both numbers, had all a place",
        ),
        Share("the web’s two processes", hour, web + idle["web"], PROCESSES, extrapolated),
        Share("the log’s one writer", hour, held, 1.0, "time held, on a busy machine"),
        Share("letters a second", hour, letters, capacity.letters, extrapolated),
        Share("the signer", hour, subjects * A_SUBJECT, 1.0, "by map.py’s figure"),
        Share("connections", hour, served, PROCESSES * POOL, "by the time of a request"),
        Share("a year on the disk", hour, disk(keepers, costs), DISK, extrapolated),
    ]


def requests(keepers: int, costs: Mapping[str, Cost], hour: str = "") -> float:
    """In the busiest hour, or in a year."""
    return keepers * sum(
        costs[name].requests * (one.hourly(hour) if hour else one.a_year)
        for name, one in DOINGS.items()
    )


def disk(keepers: int, costs: Mapping[str, Cost], without: str = "") -> float:
    """Bytes of tables and indexes in a year; the WAL is recycled."""
    return keepers * sum(
        one.a_year * (costs[name].table + costs[name].index)
        for name, one in DOINGS.items()
        if name != without
    )


def wal(keepers: int, costs: Mapping[str, Cost]) -> float:
    """Bytes written to the WAL in a year, which an archive keeps."""
    return keepers * sum(one.a_year * costs[name].wal for name, one in DOINGS.items())


def core_seconds(keepers: int, costs: Mapping[str, Cost]) -> dict[str, float]:
    """In a year, by group of processes."""
    return {
        group: keepers
        * sum(one.a_year * costs[name].cores[group] / 1000 for name, one in DOINGS.items())
        for group in GROUPS
    }

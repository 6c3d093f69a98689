"""The next checks worth making, for one animal or a whole visit; nothing is recorded.

What is answered tells what is on record, so it is for stewards alone.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from itertools import product
from typing import Any

from msgspec.structs import replace

from scalewitness.animals.models import Animal
from scalewitness.domain.sexing.feasible import (
    PLANNED,
    WITHOUT_THE_ANIMAL,
    Candidate,
    Condition,
    obstacles,
)
from scalewitness.domain.sexing.parameters import Parameter, numbers_of
from scalewitness.domain.sexing.planning import (
    Plan,
    PlannedSheet,
    RuledOut,
    fill_visit,
    plan,
)
from scalewitness.domain.sexing.tables import table
from scalewitness.planning.available import Examiners, examiners_for
from scalewitness.planning.candidates import AtStake, Ready, candidates
from scalewitness.standings.queries.assessing import Yardstick, yardstick

WEIGHED = 60
"""Animals that are weighed for one visit (our judgement: at six minutes for the quickest check
with its setting up, more than six hours' work)."""

RESTED = timedelta(days=365)
"""Long after every time to leave an animal alone."""


@dataclass(frozen=True, slots=True)
class NotToday:
    """An animal that a check would help, but not today, and why not."""

    animal: str
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlannedVisit:
    """``sheet.no_need`` names only animals no check would help on any day."""

    sheet: PlannedSheet
    waiting: tuple[NotToday, ...]
    examiners: Examiners
    measured_by: Yardstick


@dataclass(frozen=True, slots=True)
class PlannedAnimal:
    plan: Plan
    examiners: Examiners
    measured_by: Yardstick


def plan_animal(animal: Animal, stake: AtStake, now: datetime) -> PlannedAnimal:
    """Every check of one animal, by everyone who could come; the caller has checked that
    the asker is a steward."""
    by = yardstick()
    who = examiners_for(animal.collection, [animal], stake, now)
    (ready,) = candidates([animal], stake, by.numbers, now)
    found = _plan(ready.candidate, who, by, _milliseconds(now))
    return PlannedAnimal(_left_alone(found, ready.leave_alone), who, by)


def plan_visit(
    animals: Sequence[Animal], who: Examiners, stake: AtStake, minutes: float, now: datetime
) -> PlannedVisit:
    """The checks to make in so many minutes among these animals of one collection, by those who
    may come. Weighing one takes milliseconds: see `WEIGHED`."""
    rule = yardstick()
    ready = candidates(animals, stake, rule.numbers, now)
    free = {one.candidate.animal: one for one in ready if not one.leave_alone}
    sheet = fill_visit(
        [one.candidate for one in free.values()],
        who.available,
        minutes,
        _milliseconds(now),
        rule.records,
        rule.policy,
        rule.numbers,
    )
    waiting = [
        *(NotToday(one.candidate.animal, one.leave_alone) for one in ready if one.leave_alone),
        *_waiting((free[animal] for animal in sheet.no_need), who, rule, now),
    ]
    later = {one.animal for one in waiting}
    no_need = tuple(animal for animal in sheet.no_need if animal not in later)
    return PlannedVisit(replace(sheet, no_need=no_need), tuple(waiting), who, rule)


def _waiting(
    idle: Iterable[Ready], who: Examiners, by: Yardstick, now: datetime
) -> Iterable[NotToday]:
    """Those of the animals without a check today that would have one once rested."""
    for ready in idle:
        later, at = _rested(ready.candidate), _milliseconds(now + RESTED)
        why = _of_the_day(ready.candidate, who, now)
        if why and _plan(later, who, by, at).checks:
            yield NotToday(later.animal, why)


def _rested(candidate: Candidate) -> Candidate:
    """Fit, and with nothing forgotten that it has been through."""
    return replace(candidate, condition=Condition(examined=tuple(candidate.examined())))


def _of_the_day(candidate: Candidate, who: Examiners, now: datetime) -> tuple[str, ...]:
    """What speaks against a check today that says nothing against it later."""
    rested, later = _rested(candidate), _milliseconds(now + RESTED)
    found: dict[str, None] = {}
    for by, method in product(who.available, PLANNED):
        if not obstacles(rested, method, by, later):
            found |= dict.fromkeys(obstacles(candidate, method, by, _milliseconds(now)))
    return tuple(found)


def _plan(candidate: Candidate, who: Examiners, by: Yardstick, at: int) -> Plan:
    return plan(candidate, who.available, at, by.records, by.policy, by.numbers)


def _left_alone(found: Plan, why: tuple[str, ...]) -> Plan:
    """The plan of an animal nobody should touch, if there is a reason: only what can be done
    without it is left."""
    if not why:
        return found
    stopped = [one for one in found.checks if one.method not in WITHOUT_THE_ANIMAL]
    return Plan(
        tuple(one for one in found.checks if one.method in WITHOUT_THE_ANIMAL),
        (
            *(RuledOut(one.animal, one.method, one.examiner, why) for one in stopped),
            *(
                one if one.method in WITHOUT_THE_ANIMAL else replace(one, why=(*why, *one.why))
                for one in found.ruled_out
            ),
        ),
    )


def _milliseconds(now: datetime) -> int:
    return round(now.timestamp() * 1000)


@cache
def planning_numbers() -> tuple[Parameter, ...]:
    """Every number of planning beside the model's own, with source and status."""
    sheet = table("planning.toml")
    return tuple(number for part in _PARTS for number in _numbers(part, sheet[part]))


_PARTS = ("minutes", "stakes", "worth", "burden", "rest", "most")


def _numbers(part: str, entries: Mapping[str, Any]) -> Iterable[Parameter]:
    plain = {
        f"{part}.{name}": {key: value for key, value in entry.items() if key != "what"}
        for name, entry in entries.items()
    }
    return numbers_of("planning", plain)

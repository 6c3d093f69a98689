"""The next checks worth making, for one animal or a whole visit; nothing is recorded.

What is answered tells what is on record, so it is for stewards alone.
"""

import re
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from itertools import product
from typing import Any

from msgspec.structs import replace

from scalewitness.animals.models import Animal
from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.ahead import Pairs
from scalewitness.domain.sexing.feasible import (
    PLANNED,
    WITHOUT_THE_ANIMAL,
    Candidate,
    Condition,
    obstacles,
)
from scalewitness.domain.sexing.parameters import Parameter, numbers_of
from scalewitness.domain.sexing.planning import Plan, RuledOut
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.visit_plan import PlannedSheet, Planner, fill_visit
from scalewitness.planning.available import Examiners
from scalewitness.planning.candidates import AtStake, Ready, candidates
from scalewitness.standings.queries.assessing import Yardstick, yardstick

WEIGHED = 60
"""Animals that are weighed for one visit (our judgement: hours of work, and one page)."""

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
    """``ahead``: what a second check would bring, by the method and examiner of the first."""

    plan: Plan
    ahead: Pairs
    examiners: Examiners
    measured_by: Yardstick


def plan_animal(
    animal: Animal, who: Examiners, today: Iterable[str], stake: AtStake, now: datetime
) -> PlannedAnimal:
    """Every check of one animal by those of ``who`` that can come; the caller has checked that
    the asker is a steward. Raises KeyError for somebody who is not among them."""
    rule = yardstick()
    coming = who.only(today)
    (ready,) = candidates([animal], stake, rule.numbers, now)
    plan, pairs = _planner(coming, who, rule, now).closely(ready.candidate)
    without_it = frozenset() if animal.ended else WITHOUT_THE_ANIMAL
    left = _left_alone(plan, ready.leave_alone, without_it)
    return PlannedAnimal(left, pairs, coming, rule)


def plan_visit(
    animals: Sequence[Animal],
    who: Examiners,
    today: Iterable[str],
    stake: AtStake,
    minutes: float,
    now: datetime,
) -> PlannedVisit:
    """The checks to make in so many minutes among these animals of one collection, by those of
    ``who`` that come, in the order of the racks. Weighing one takes milliseconds: see `WEIGHED`.
    Raises KeyError for somebody who is not among them."""
    rule = yardstick()
    coming = who.only(today)
    ready = candidates(sorted(animals, key=_place), stake, rule.numbers, now)
    free = {one.candidate.animal: one for one in ready if not one.leave_alone}
    planner = _planner(coming, who, rule, now)
    sheet = fill_visit(planner, [one.candidate for one in free.values()], minutes)
    waiting = [
        *(NotToday(one.candidate.animal, one.leave_alone) for one in ready if one.leave_alone),
        *_waiting((free[animal] for animal in sheet.no_need), coming, who, rule, now),
    ]
    later = {one.animal for one in waiting}
    no_need = tuple(animal for animal in sheet.no_need if animal not in later)
    return PlannedVisit(replace(sheet, no_need=no_need), tuple(waiting), coming, rule)


def _place(animal: Animal) -> tuple[bool, list[tuple[bool, int, str]], str]:
    """Where it stands, as people count: R2 before R10; animals without a place last."""
    parts = (part for part in _NUMBERS.split(f"{animal.rack} {animal.name}".casefold()) if part)
    place = [(part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in parts]
    return not animal.rack, place, str(animal.pk)


_NUMBERS = re.compile(r"([0-9]+)")


def _planner(today: Examiners, who: Examiners, rule: Yardstick, now: datetime) -> Planner:
    """Another day whoever is expected may come, or whoever comes today."""
    names = {one.examiner for one in today.available} | set(who.expected)
    later = who.only(names).available
    at = _milliseconds(now)
    return Planner(today.available, later, at, rule.records, rule.policy, rule.numbers)


def _waiting(
    idle: Iterable[Ready], today: Examiners, who: Examiners, rule: Yardstick, now: datetime
) -> Iterable[NotToday]:
    """Those of the animals without a check today that would have one once rested."""
    planner = _planner(today, who, rule, now + RESTED)
    for ready in idle:
        later = _rested(ready.candidate)
        why = _of_the_day(ready.candidate, today, now)
        if why and planner.of(later)[0].checks:
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


def _left_alone(found: Plan, why: tuple[str, ...], without_it: Set[Method]) -> Plan:
    """The plan of an animal nobody should touch, if there is a reason: only what is done
    ``without_it`` is left."""
    if not why:
        return found
    stopped = [one for one in found.checks if one.method not in without_it]
    return Plan(
        tuple(one for one in found.checks if one.method in without_it),
        (
            *(RuledOut(one.animal, one.method, one.examiner, why) for one in stopped),
            *(
                one if one.method in without_it else replace(one, why=(*why, *one.why))
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


_PARTS = ("minutes", "stakes", "season", "worth", "burden", "price", "comes", "rest", "most")


def _numbers(part: str, entries: Mapping[str, Any]) -> Iterable[Parameter]:
    plain = {
        f"{part}.{name}": {key: value for key, value in entry.items() if key != "what"}
        for name, entry in entries.items()
    }
    return numbers_of("planning", plain)

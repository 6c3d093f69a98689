"""Which checks fit into a visit, and in which order they are made.

Getting animals out and back takes time once for a clutch, or for an animal that is in none; each
check then takes its own minutes. Of all ways to spend the time, at most one check for each animal,
the one worth most in sum is found exactly, by going through the animals and keeping for every
number of minutes the best that can be done in it.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import ceil

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from scalewitness.domain.sexing.ahead import Pairs, TwoChecks, look_ahead
from scalewitness.domain.sexing.feasible import Available, Candidate, as_of
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.planning import SETUP, Check, Plan, every_check, worth_making
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.weighing import Weighing

_ALIKE = 1e-9
"""Sums of benefits no further apart than this are the same: rounding must not decide."""


class PlannedSheet(Struct, frozen=True):
    """A visit: at most one check for each animal, in the order the animals were given, those of
    one clutch together; ``ahead`` what a second check of some would bring, by animal; ``minutes``
    of the ``budget`` it takes, ``setups`` of them to get animals out and back; animals ``left_out``
    for want of time, and those for which nothing is worth doing (``no_need``)."""

    lines: tuple[Check, ...]
    ahead: Mapping[str, TwoChecks]
    minutes: float
    setups: float
    budget: float
    left_out: tuple[str, ...]
    no_need: tuple[str, ...]


def fill_visit(planner: "Planner", candidates: Sequence[Candidate], minutes: float) -> PlannedSheet:
    """The checks worth most in sum among those that can be made in so many minutes."""
    found = {one.animal: planner.of(one) for one in candidates}
    options = {animal: plan.checks for animal, (plan, _) in found.items()}
    groups = _together(candidates)
    chosen = _best(groups, options, int(minutes))
    lines = [chosen[one.animal] for group in groups for one in group if one.animal in chosen]
    setups = SETUP * sum(any(one.animal in chosen for one in group) for group in groups)
    return PlannedSheet(
        lines=tuple(lines),
        ahead={
            one.animal: two
            for one in lines
            if (two := found[one.animal][1].get((one.method, one.examiner)))
        },
        minutes=setups + sum(line.minutes for line in lines),
        setups=setups,
        budget=minutes,
        left_out=tuple(a for a, checks in options.items() if checks and a not in chosen),
        no_need=tuple(a for a, checks in options.items() if not checks),
    )


class Planner:
    """What is worth doing at a time (Unix milliseconds) by those who are there; ``later``: those
    who may come another day. Animals that nothing on record tells apart, as young of a clutch, are
    weighed once."""

    def __init__(
        self,
        examiners: Sequence[Available],
        later: Sequence[Available],
        at: int,
        records: ExaminerRecords,
        policy: Policy,
        parameters: Parameters,
    ) -> None:
        self._examiners = examiners
        self._later = later
        self._rule = at, records, policy, parameters
        self._known: dict[object, tuple[Plan, Pairs]] = {}

    def of(self, candidate: Candidate) -> tuple[Plan, Pairs]:
        """As :meth:`closely`; further ahead only where nobody has called the animal: there one
        first check alone never shows its worth, and such animals are many and alike."""
        if candidate.evidence:
            return self.closely(candidate, ahead=False)
        key = self._key(candidate)
        if key not in self._known:
            self._known[key] = self.closely(candidate)
        plan, pairs = self._known[key]
        checks = tuple(replace(check, animal=candidate.animal) for check in plan.checks)
        return replace(plan, checks=checks), pairs

    def closely(self, candidate: Candidate, *, ahead: bool = True) -> tuple[Plan, Pairs]:
        """The checks worth making, the best first, and with ``ahead`` what a second one would
        bring. Raises ValueError as :func:`case_of`."""
        weighing = Weighing.of(candidate, *self._rule)
        every = every_check(weighing, self._examiners)
        if not ahead:
            return worth_making(every), {}
        raised, pairs = look_ahead(weighing, every, self._examiners, self._later)
        return worth_making(raised), pairs

    def _key(self, candidate: Candidate) -> object:
        """All that planning looks at, of an animal without calls."""
        animal, at = candidate.animal, self._rule[0]
        everyone = (*self._examiners, *self._later)
        ties = tuple((animal in by.knows, animal in by.interested_in) for by in everyone)
        condition = as_of(candidate.condition, at)
        return replace(candidate, animal="", clutch="", condition=condition), ties


# --- what fits into the time --------------------------------------------------------------


Options = Mapping[str, Sequence[Check]]
Counts = NDArray[np.intp]
Worth = NDArray[np.float64]


def _together(candidates: Iterable[Candidate]) -> list[list[Candidate]]:
    """Those of one clutch in one group, where the first of them stands."""
    groups: dict[tuple[str, str], list[Candidate]] = {}
    for one in candidates:
        groups.setdefault(("clutch", one.clutch) if one.clutch else ("", one.animal), []).append(
            one
        )
    return list(groups.values())


class _Step(Struct):
    """Where a group is worth opening, by minutes; and the option (from 1; 0: none) taken of each
    of its animals, the last animal first, where it is."""

    opened: NDArray[np.bool_]
    taken: list[tuple[str, Counts]]


def _best(groups: Iterable[Sequence[Candidate]], options: Options, budget: int) -> dict[str, Check]:
    worth, steps = np.zeros(budget + 1), []
    for group in groups:
        worth, step = _with_group([one.animal for one in group], options, worth)
        steps.append(step)
    chosen: dict[str, Check] = {}
    left = budget
    for step in reversed(steps):
        if step.opened[left]:
            left = _take(step, options, left, chosen)
    return chosen


def _with_group(animals: Sequence[str], options: Options, worth: Worth) -> tuple[Worth, _Step]:
    best, taken = _later(worth, SETUP), []
    for animal in reversed(animals):
        best, option = _with_animal(options[animal], best)
        taken.append((animal, option))
    opened = best > worth + _ALIKE
    return np.where(opened, best, worth), _Step(opened, taken)


def _with_animal(checks: Sequence[Check], worth: Worth) -> tuple[Worth, Counts]:
    """Of options worth as much the first is taken."""
    best, option = worth, np.zeros(worth.size, dtype=np.intp)
    for number, check in enumerate(checks, 1):
        with_it = _later(worth, check.minutes) + check.benefit
        better = with_it > best + _ALIKE
        best, option = np.where(better, with_it, best), np.where(better, number, option)
    return best, option


def _later(worth: Worth, minutes: float) -> Worth:
    """The same with so many minutes gone before."""
    found = np.full(worth.size, -np.inf)
    whole = ceil(minutes)
    if whole < worth.size:
        found[whole:] = worth[: worth.size - whole]
    return found


def _take(step: _Step, options: Options, left: int, chosen: dict[str, Check]) -> int:
    """Adds what is taken of a group to ``chosen``; the minutes left before it."""
    for animal, option in reversed(step.taken):
        if option[left]:
            check = options[animal][option[left] - 1]
            chosen[animal] = check
            left -= ceil(check.minutes)
    return left - ceil(SETUP)

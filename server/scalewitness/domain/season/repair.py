"""What to do when something falls: the best repair that changes fewest pairings.

A pairing is broken if one of its animals is gone or no longer available, or the two are hardly a
pair. Broken ones go; what was planned by hand against other advice stays. Every further change,
by dam, must bring its share of what a pairing brings (``change`` in ``data/season.toml``), so
that no plan is turned over for little.
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
from msgspec import Struct

from scalewitness.domain.season.by_hand import SeasonWorth, season_worth
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.objections import objections
from scalewitness.domain.season.optimum import solve
from scalewitness.domain.season.options import Array, Options, possible
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.search import Search
from scalewitness.domain.season.values import Chosen, SeasonInput, SeasonPlan

BREAKING = frozenset({"same_animal", "not_available", "same_sex"})


class RepairStep(Struct, frozen=True):
    """A plan with so many ``changes``, of which the last was the one that brought most."""

    changes: int
    plan: SeasonPlan
    expected: float


class Repair(Struct, frozen=True):
    """``broken`` pairings go; ``left``: what the others are expected to bring. The repair gives up
    ``dropped`` and makes ``added``, for ``worth`` and ``gap`` as of a proposal. ``steps``: from no
    change on, always the one change that brings most."""

    broken: SeasonPlan
    left: float
    dropped: SeasonPlan
    added: SeasonPlan
    plan: SeasonPlan
    worth: SeasonWorth
    gap: float
    steps: tuple[RepairStep, ...]


def repaired(season: SeasonInput, plan: SeasonPlan) -> Repair:
    """The season as it is now, and a plan made before. Fixed pairings that are not broken stay."""
    scenarios = Scenarios(season)
    broken = broken_of(scenarios, plan)
    intact = tuple(sorted(set(plan) - set(broken)))
    options = Options(scenarios, {*possible(scenarios), *intact})
    start = [options.at[pair] for pair in intact]
    kept = [n for n in options.rules.fixed if options.pairs[n] in intact]
    costs = change_costs(options, start)
    solved = solve(options, season.limits.caution, costs, kept, start)
    steps = tuple(_steps(options, Search(options, season.limits.caution, costs, kept), start))
    found = tuple(options.pairs[n] for n in solved.plan)
    return Repair(
        broken=broken,
        left=steps[0].expected,
        dropped=tuple(sorted(set(intact) - set(found))),
        added=tuple(sorted(set(found) - set(intact))),
        plan=found,
        worth=season_worth(season, found, hanging=False),
        gap=solved.gap,
        steps=steps,
    )


def broken_of(scenarios: Scenarios, plan: Iterable[Chosen]) -> SeasonPlan:
    """The pairings that can no longer be made, or hardly bring anything."""
    return tuple(
        pair
        for pair in sorted(set(plan))
        if any(one.why in BREAKING for one in objections(scenarios, pair))
    )


def change_costs(options: Options, intact: Sequence[int]) -> Array:
    """By pairing: what it must bring to be made; less than nothing for those that are intact, as
    giving them up is a change. A dam who goes from one sire to another is one change."""
    least = options.scenarios.season.limits.least
    each = float(options.values(intact).mean()) / max(len(intact), 1)
    change = season_number("repair", "change") * each
    dams = {options.pairs[n].dam for n in intact}
    costs = [least + (0.0 if pair.dam in dams else change) for pair in options.pairs]
    found = np.array(costs)
    found[list(intact)] = least - change
    return found


def _steps(options: Options, search: Search, plan: list[int]) -> Iterator[RepairStep]:
    for changes in range(round(season_number("repair", "steps")) + 1):
        pairs = tuple(options.pairs[n] for n in plan)
        yield RepairStep(changes, pairs, float(options.values(plan).mean()))
        found = search.one_change(plan)
        if found is None:
            return
        plan = found

"""The best plan: which females with which males, so that the season brings most.

What is aimed at is the expected value and, by the caution of the limits, the mean of the worst
tenth of the drawn seasons. It is concave in the plan, so cutting planes describe it (Van Slyke and
Wets 1969; Rockafellar and Uryasev 2000 for the worst tenth), and HiGHS finds plans and an upper
bound. Plans are improved step by step in between. What is left open is the ``gap``, of the drawn
seasons; how far fresh ones lie off is told beside it.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, vstack

from scalewitness.domain.season.by_hand import (
    SeasonWorth,
    mean,
    outcomes,
    season_worth,
    standard_error,
)
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.options import Array, Options, aimed_at, possible, tail
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.search import Search
from scalewitness.domain.season.values import Chosen, SeasonInput, SeasonPlan


class Alternative(Struct, frozen=True, order=True):
    """A pairing that is not in the plan, and what it ``costs`` at most to make it: what the season
    would be expected to bring less, the plan changed around it. Below 0 it would bring more."""

    costs: float
    pair: Chosen


class Proposal(Struct, frozen=True):
    """A plan, fixed pairings kept. ``gap``: by how much of its value a better plan for the drawn
    seasons may exceed it, made of the pairings looked at (`options.possible`). ``fresh``: what it
    is expected to bring in other seasons than those it was chosen for, with its standard error.
    ``alternatives``: least cost first; ``fixed_costs``: what each fixed pairing costs at most,
    against a plan free of it. ``worth`` without what it hangs on."""

    plan: SeasonPlan
    worth: SeasonWorth
    gap: float
    fresh: float
    fresh_error: float
    alternatives: tuple[Alternative, ...]
    fixed_costs: tuple[Alternative, ...]


def best_plan(season: SeasonInput) -> Proposal:
    """The best found. Deterministic, whatever the order of animals and wants."""
    scenarios = Scenarios(season)
    options = Options(scenarios, possible(scenarios))
    costs = np.full(len(options.pairs), season.limits.least)
    solved = solve(options, season.limits.caution, costs, options.rules.fixed)
    plan = tuple(options.pairs[n] for n in solved.plan)
    fresh = fresh_values(season, plan)
    return Proposal(
        plan=plan,
        worth=season_worth(season, plan, hanging=False),
        gap=solved.gap,
        fresh=mean(fresh),
        fresh_error=standard_error(fresh),
        alternatives=alternatives(options, solved.plan),
        fixed_costs=_fixed_costs(season, options, solved.plan),
    )


def fresh_values(season: SeasonInput, plan: SeasonPlan) -> Sequence[float]:
    """Of a plan, in seasons that it was not chosen for."""
    count = round(season_number("drawn", "fresh"))
    return outcomes(Scenarios(season, count=count, seed=season.seed + 1), plan)


class Solved(Struct, frozen=True):
    """Numbers of pairings, their value with costs, and how much more any plan may have, as a share
    of it."""

    plan: tuple[int, ...]
    value: float
    gap: float


def solve(
    options: Options,
    caution: float,
    costs: Array,
    kept: Sequence[int] = (),
    start: Sequence[int] = (),
) -> Solved:
    """The plan of most value less ``costs`` of each pairing, ``kept`` in it."""
    search = Search(options, caution, costs, kept)
    plan = sorted({*kept, *start})
    if not options.pairs:
        return Solved((), 0.0, 0.0)
    cuts = _Cuts(options, caution, costs, kept)
    cuts.add(np.zeros(len(options.pairs)))
    bound = cuts.tightened(_vector(options, plan))
    for _ in range(round(season_number("solver", "rounds"))):
        if bound - search.value(plan) <= season_number("solver", "gap") * abs(search.value(plan)):
            break
        answer = cuts.solved(whole=True)
        if answer is None:
            plan = search.improved(plan)
            break
        found, its_bound = answer
        bound = min(bound, its_bound)
        cuts.add(found.round())
        other = search.improved(np.flatnonzero(found > 0.5).tolist())
        if search.value(other) > search.value(plan):
            plan = other
    value = search.value(plan)
    return Solved(tuple(plan), value, max(bound - value, 0.0) / max(abs(value), 1e-9))


def alternatives(options: Options, plan: Sequence[int]) -> tuple[Alternative, ...]:
    """Each pairing that could be made instead: its two animals' own pairings that leave no room
    are given up for it, the least worth first, and what then fits is added."""
    search = Search(options, 0.0, np.zeros(len(options.pairs)), options.rules.fixed)
    value = search.value(plan)
    found = []
    for n, pair in enumerate(options.pairs):
        if n in plan:
            continue
        forced = search.forced(plan, n)
        if forced is not None:
            found.append(Alternative(round(value - search.value(forced), 9), pair))
    return tuple(sorted(found))


def _fixed_costs(
    season: SeasonInput, options: Options, plan: Sequence[int]
) -> tuple[Alternative, ...]:
    """By a plan that is improved from this one with the pairing free."""
    found = []
    for n in options.rules.fixed:
        freed = replace(season, fixed=tuple(one for one in season.fixed if one != options.pairs[n]))
        free = Options(Scenarios(freed), options.pairs, options)
        search = Search(free, 0.0, np.zeros(len(free.pairs)), free.rules.fixed)
        rest = search.improved([one for one in plan if one != n])
        more = max(search.value(rest) - search.value(plan), 0.0)
        found.append(Alternative(more, options.pairs[n]))
    return tuple(sorted(found))


def _vector(options: Options, plan: Sequence[int]) -> Array:
    found = np.zeros(len(options.pairs))
    found[list(plan)] = 1.0
    return found


class _Cuts:
    """The problem as HiGHS sees it: pairings, a column for the mean of each want that has an end,
    one for the worst tenth; what these may be is known by the cuts added so far."""

    def __init__(self, options: Options, caution: float, costs: Array, kept: Sequence[int]) -> None:
        self.options, self.caution, self.costs = options, caution, costs
        self.pairs, self.wants = len(options.pairs), len(options.most)
        linear = (1 - caution) * options.sums.mean(axis=1) - costs
        self.worth = np.concatenate([linear, np.full(self.wants, 1 - caution), [caution]])
        bounded = np.isfinite(options.rules.room)
        self.rows = [csr_array(self._row(options.rules.uses[bounded]))]
        self.room = [options.rules.room[bounded]]
        self.lowest = np.zeros(len(self.worth))
        self.lowest[list(kept)] = 1.0
        most = options.weights * options.most
        self.highest = np.concatenate([np.ones(self.pairs), most, [np.inf if caution else 0.0]])

    def _row(self, of_pairs: Array) -> Array:
        return np.pad(of_pairs, ((0, 0), (0, self.wants + 1)))

    def add(self, plan: Array) -> float:
        """The planes that touch what is aimed at at that plan, whole or not; its value there."""
        options, count = self.options, self.options.scenarios.count
        brought = np.tensordot(options.young, plan, axes=(1, 0))
        full = brought >= options.most[:, None]
        coefficients = np.where(full[:, None, :], 0.0, options.young)
        rows = np.zeros((self.wants + 1, len(self.worth)))
        rows[: self.wants, : self.pairs] = -options.weights[:, None] * coefficients.mean(axis=2)
        rows[np.arange(self.wants), self.pairs + np.arange(self.wants)] = 1.0
        ends = options.weights * options.most
        limits = np.append(ends * full.mean(axis=1), 0.0)
        reached = ends[:, None] * full + options.weights[:, None] * np.where(full, 0, brought)
        values = plan @ options.sums + reached.sum(axis=0)
        if self.caution:
            shares = np.zeros(count)
            shares[np.argsort(values, kind="stable")] = tail(count)
            slopes = options.sums + np.tensordot(options.weights, coefficients, axes=(0, 0))
            rows[-1, : self.pairs] = -(slopes @ shares)
            rows[-1, -1] = 1.0
            limits[-1] = (ends @ full) @ shares
        used = self.wants + bool(self.caution)
        self.rows.append(csr_array(rows[:used]))
        self.room.append(limits[:used])
        return float(aimed_at(values, self.caution)) + float(
            (self.worth[: self.pairs] - (1 - self.caution) * options.sums.mean(axis=1)) @ plan
        )

    def tightened(self, near: Array) -> float:
        """Cuts where the relaxed problem is best, and half-way from there to a good plan, until
        little is left to cut off; an upper bound of every plan's value."""
        bound = self._loose()
        for _ in range(round(season_number("solver", "cuts"))):
            answer = self.solved(whole=False)
            if answer is None:
                break
            found, bound = answer
            reached = self.add(found)
            if bound - reached <= season_number("solver", "tight") * abs(bound):
                break
            self.add((found + near) / 2)
        return bound

    def _loose(self) -> float:
        """No plan is worth more than all pairings together."""
        linear = self.options.sums.mean(axis=1) - self.costs
        return float(linear.clip(0).sum() + self.options.weights @ self.options.most)

    def solved(self, *, whole: bool) -> tuple[Array, float] | None:
        """The plan that is best by the cuts, and the bound. None where the solver gives up, as
        it did on one problem of some thousands: once more without its presolving."""
        kind = np.zeros(len(self.worth), dtype=np.int8)
        kind[: self.pairs] = whole
        rows = vstack(self.rows, format="csr")
        for presolve in (True, False):
            found = milp(
                -self.worth,
                integrality=kind,
                bounds=Bounds(self.lowest, self.highest),
                constraints=LinearConstraint(rows, -np.inf, np.concatenate(self.room)),
                options={
                    "presolve": presolve,
                    "mip_rel_gap": season_number("solver", "gap") / 2,
                    "node_limit": round(season_number("solver", "nodes")),
                },
            )
            if found.x is not None:
                bound = found.mip_dual_bound if whole else found.fun
                return found.x[: self.pairs], -float(bound)
        return None

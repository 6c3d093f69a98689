"""All pairings that a season may be made of, and what each brings in each scenario, as arrays.

For the worker, which weighs thousands of plans. The seasons are those of :mod:`by_hand`, with one
difference: a clutch that several males sire is counted once for each. No proposed plan has one,
unless sexes are mistaken.
"""

from collections.abc import Iterable, Sequence
from functools import cached_property
from itertools import islice
from math import ceil

import numpy as np
from numpy.typing import NDArray

from scalewitness.domain.genetics.young import mean_young
from scalewitness.domain.season.by_hand import serves
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.objections import chance_of_pair, objections
from scalewitness.domain.season.scenarios import Scenarios, binomial
from scalewitness.domain.season.values import (
    BreedingAnimal,
    Chosen,
    SeasonInput,
    Want,
)

Array = NDArray[np.float64]
Whole = NDArray[np.intp]


class Options:
    """``young[w, i, k]``: of the ``w``-th want that has an end by pairing ``i`` in scenario ``k``,
    at most as many as are wanted in all; ``most`` and ``weights`` of those wants. ``sums[i, k]``:
    the worth of what is wanted without end."""

    def __init__(
        self,
        scenarios: Scenarios,
        pairs: Iterable[Chosen],
        known: "Options | None" = None,
        but: str = "",
    ) -> None:
        """``known``: counted before, and still so but for pairings of the animal ``but``."""
        self.scenarios = scenarios
        self.pairs = tuple(sorted(set(pairs)))
        self.at = {pair: n for n, pair in enumerate(self.pairs)}
        self._counted = np.zeros((len(scenarios.wants), len(self.pairs), scenarios.count))
        kept = [
            pair
            for pair in self.pairs
            if known is not None and pair in known.at and but not in (pair.sire, pair.dam)
        ]
        if known is not None:
            here, there = ([of.at[pair] for pair in kept] for of in (self, known))
            self._counted[:, here] = known._counted[:, there]
        for pair in {*self.pairs} - {*kept}:
            _count(scenarios, pair, self._counted[:, self.at[pair]])
        self._weigh()

    def _weigh(self) -> None:
        wants = self.scenarios.wants
        ended = [n for n, one in enumerate(wants) if one.most is not None]
        endless = [n for n, one in enumerate(wants) if one.most is None]
        self.most = np.array([float(wants[n].most or 0) for n in ended])
        self.weights = np.array([wants[n].weight for n in ended])
        self.young = np.minimum(self._counted[ended], self.most[:, None, None])
        shares = np.array([wants[n].weight for n in endless])
        self.sums = np.tensordot(shares, self._counted[endless], axes=(0, 0))

    def values(self, plan: Sequence[int]) -> Array:
        """Of these pairings together, by scenario."""
        rows = list(plan)
        brought = np.minimum(self.most[:, None], self.young[:, rows].sum(axis=1))
        total: Array = self.sums[rows].sum(axis=0) + self.weights @ brought
        return total

    def values_with(self, plan: Sequence[int], more: Sequence[int] | Whole) -> Array:
        """Of the plan with each of ``more`` in turn: by that pairing and scenario."""
        rows = list(plan)
        brought = self.young[:, rows].sum(axis=1)
        found: Array = self.sums[rows].sum(axis=0) + self.sums[more]
        for weight, most, had, young in zip(
            self.weights, self.most, brought, self.young, strict=True
        ):
            found += weight * np.minimum(most, had + young[more])
        return found

    @cached_property
    def rules(self) -> "PlanRules":
        return PlanRules(self.scenarios.season, self.pairs)


class PlanRules:
    """What a plan must keep: ``uses @ plan <= room``, a row for each animal and kind of room. An
    animal is a sire, of as many as it serves, or a dam, of one clutch, not both. Fixed pairings
    always have room: by hand everything can be planned."""

    def __init__(self, season: SeasonInput, pairs: Sequence[Chosen]) -> None:
        animals = {one.animal: one for one in season.animals}
        keys = sorted({key for pair in pairs for key in (pair.sire, pair.dam)})
        row = {key: n for n, key in enumerate(keys)}
        self.uses = np.zeros((len(keys) + 2, len(pairs)))
        for n, pair in enumerate(pairs):
            self.uses[row[pair.sire], n] = 1 / max(serves(season, animals[pair.sire]), 0.5)
            self.uses[row[pair.dam], n] = 1
            self.uses[-2, n] = 1
            self.uses[-1, n] = mean_young(animals[pair.dam].young)
        room = season.limits
        self.room = np.ones(len(keys) + 2)
        self.room[-2] = np.inf if room.clutches is None else room.clutches
        self.room[-1] = np.inf if room.young is None else room.young
        self.fixed = [n for n, pair in enumerate(pairs) if pair in set(season.fixed)]
        self.room = np.maximum(self.room, self.uses[:, self.fixed].sum(axis=1)) + 1e-9

    def has_room(self, plan: Sequence[int]) -> NDArray[np.bool_]:
        """For each pairing, whether the plan has room for it too."""
        left = self.room - self.uses[:, list(plan)].sum(axis=1)
        fits: NDArray[np.bool_] = (self.uses <= left[:, None]).all(axis=0)
        fits[list(plan)] = False
        return fits


def possible(scenarios: Scenarios) -> tuple[Chosen, ...]:
    """Pairings that may be proposed, and the fixed ones. Where there are more than ``pairs`` in the
    data, each dam's most promising: more would take the worker's memory."""
    animals = [scenarios.animals[key] for key in sorted(scenarios.animals)]
    sires = [one.animal for one in animals if _may_be(one, male=True)]
    dams = [one.animal for one in animals if _may_be(one, male=False)]
    found = set(filter(scenarios.has, scenarios.season.fixed))
    most = _most_of_each(len(sires), len(dams))
    for dam in dams:
        found.update(_proposed(scenarios, [Chosen(sire, dam) for sire in sires], most))
    return tuple(sorted(found))


def possible_with(scenarios: Scenarios, animal: str) -> Iterable[Chosen]:
    """Those of one animal alone."""
    one = scenarios.animals[animal]
    others = [scenarios.animals[key] for key in sorted(scenarios.animals)]
    sires = [each.animal for each in others if _may_be(each, male=True)]
    dams = [each.animal for each in others if _may_be(each, male=False)]
    most = round(season_number("solver", "pairs"))
    if _may_be(one, male=True):
        yield from _proposed(scenarios, [Chosen(animal, dam) for dam in dams], most)
    if _may_be(one, male=False):
        yield from _proposed(scenarios, [Chosen(sire, animal) for sire in sires], most)


def _may_be(one: BreedingAnimal, *, male: bool) -> bool:
    """Whether it may be planned as of that sex."""
    p = one.p_male if male else 1 - one.p_male
    return p >= min(0.5, season_number("from", "either"))


def _most_of_each(sires: int, dams: int) -> int:
    """How many sires are looked at for a dam: all, or as many as the data allow."""
    most = round(season_number("solver", "pairs"))
    return sires if sires * dams <= most else max(most // dams, 1)


def _proposed(scenarios: Scenarios, pairs: list[Chosen], most: int) -> Iterable[Chosen]:
    if len(pairs) > most:
        pairs.sort(key=lambda one: (-_promise(scenarios, one), one))
    return islice((one for one in pairs if not objections(scenarios, one)), most)


def _promise(scenarios: Scenarios, pair: Chosen) -> float:
    """About what it brings by itself, of what the two most likely carry."""
    worth = 0.0
    for want in scenarios.wants:
        if not want.line or {pair.sire, pair.dam} & want.line:
            keys = scenarios.bearing[want.key]
            his, hers = (scenarios.likeliest(one, keys) for one in (pair.sire, pair.dam))
            worth += want.weight * scenarios.chance(want, his, hers)
    young = mean_young(scenarios.animals[pair.dam].young)
    return worth * young * chance_of_pair(scenarios, pair)


def aimed_at(values: Array, caution: float) -> Array:
    """Expected value and the mean of the worst tenth, mixed: along the last axis."""
    found: Array = values.mean(axis=-1)
    if caution:
        worst = np.sort(values, axis=-1) @ tail(values.shape[-1])
        found = (1 - caution) * found + caution * worst
    return found


def tail(count: int) -> Array:
    """The weight of each scenario in the mean of the worst tenth, the worst first."""
    left = season_number("worst", "share") * count
    weights = np.zeros(count)
    weights[: ceil(left)] = 1 / left
    weights[ceil(left) - 1] -= (ceil(left) - left) / left
    return weights


def _count(scenarios: Scenarios, pair: Chosen, into: Array) -> None:
    """Writes how many young of each want, by scenario."""
    for male, female in ((pair.sire, pair.dam), (pair.dam, pair.sire)):
        is_pair = np.array(scenarios.males(male)) & ~np.array(scenarios.males(female))
        where = np.flatnonzero(is_pair)
        if where.size == 0:
            continue
        sizes = np.array(scenarios.sizes(female))[where]
        for n, want in enumerate(scenarios.wants):
            if want.line and not {pair.sire, pair.dam} & want.line:
                continue
            chances = _chances(scenarios, want, male, female)[where]
            if chances.any():
                luck = np.array(scenarios.luck("young", female, want.key))[where]
                into[n, where] = _quantiles(sizes, chances, luck)


def _chances(scenarios: Scenarios, want: Want, male: str, female: str) -> Array:
    """That a young of theirs meets the want, by scenario."""
    keys = scenarios.bearing[want.key]
    (his, his_which), (hers, her_which) = (scenarios.carried(one, keys) for one in (male, female))
    table = np.array([[scenarios.chance(want, one, other) for other in hers] for one in his])
    found: Array = table[np.array(his_which), np.array(her_which)]
    return found


def _quantiles(sizes: Whole, chances: Array, luck: Array) -> Array:
    """How many of so many young, each with that chance, at that luck."""
    found = np.zeros(sizes.size)
    for size, chance in {*zip(sizes.tolist(), chances.tolist(), strict=True)}:
        if size and chance:
            at = (sizes == size) & (chances == chance)
            found[at] = np.searchsorted(binomial(size, chance), luck[at], side="right")
    return found

"""What a plan made by hand should bring, in the mean and in the worst tenth of seasons.

A scenario's value is the worth of the wanted young that it brings: for each want its weight for
each young, up to as many as are wanted. Two of one sex bring nothing. A female has one clutch; with
several males each sires an equal share of it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from math import ceil, inf, sqrt

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype
from scalewitness.domain.genetics.young import mean_young
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.objections import PairingObjection, chance_of_pair, objections
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import BreedingAnimal, Chosen, SeasonInput, SeasonPlan, Want

Values = Sequence[float]
"""By scenario."""


class PairingWorth(Struct, frozen=True):
    """One pairing of a plan. ``a_pair`` is the chance that the two are a male and a female, by
    both readings; ``young`` how many are expected of each want; ``adds`` what the season would
    bring less without it."""

    pair: Chosen
    a_pair: float
    a_pair_strict: float
    young: Mapping[str, float]
    adds: float
    objections: tuple[PairingObjection, ...]


class HangsOn(Struct, frozen=True):
    """What a plan loses if an animal is not of the sex it is planned as (``locus`` None), or
    carries something else at a locus than the plan does best with; ``chance``: of that.
    ``expected``: what the season then brings; ``loses``: how much less than otherwise."""

    animal: str
    locus: str | None
    chance: float
    expected: float
    loses: float


class SeasonWorth(Struct, frozen=True):
    """``expected``, with its standard error; ``worst``: the mean of the worst tenth of seasons;
    ``strict``: expected by the strict reading of every sex. ``young`` expected of each want.
    ``over``: the limits that the plan does not keep. The others greatest loss first."""

    expected: float
    error: float
    worst: float
    strict: float
    young: Mapping[str, float]
    pairings: tuple[PairingWorth, ...]
    hangs_on: tuple[HangsOn, ...]
    over: tuple[str, ...]


def season_worth(season: SeasonInput, plan: SeasonPlan, *, hanging: bool = True) -> SeasonWorth:
    """Of a plan, whoever made it. Pairings with animals not in the season bring nothing. Without
    ``hanging`` nothing is said of what it hangs on, which takes longest."""
    scenarios = Scenarios(season)
    known = tuple(sorted(filter(scenarios.has, set(plan))))
    planned = _Planned(scenarios, known)
    values = planned.values
    return SeasonWorth(
        expected=planned.expected,
        error=standard_error(values),
        worst=worst(values),
        strict=mean(outcomes(scenarios.strictly(), known)),
        young={key: mean(young) for key, young in planned.brought.items()},
        pairings=tuple(_pairing(planned, one) for one in sorted(set(plan))),
        hangs_on=_hangs_on(planned) if hanging else (),
        over=limits_exceeded(season, known),
    )


def outcomes(scenarios: Scenarios, plan: Iterable[Chosen]) -> list[float]:
    """The value of a plan by scenario."""
    return _Planned(scenarios, sorted(plan)).values


class _Planned:
    """A plan with what it brings: ``brought`` of each want, by scenario."""

    def __init__(self, scenarios: Scenarios, pairs: Sequence[Chosen]) -> None:
        self.scenarios = scenarios
        self.pairs = tuple(pairs)
        self._of: defaultdict[str, list[Chosen]] = defaultdict(list)
        for pair in pairs:
            self._of[pair.sire].append(pair)
            self._of[pair.dam].append(pair)
        self._shares = {key: _shares(scenarios, key, its) for key, its in self._of.items()}
        self._merged = _merged(self._shares.values())
        self.brought = {
            one.key: _brought(scenarios, one, pairs, self._merged) for one in scenarios.wants
        }

    @property
    def animals(self) -> list[str]:
        return sorted(self._of)

    @cached_property
    def expected(self) -> float:
        return mean(self.values)

    @cached_property
    def values(self) -> list[float]:
        """By scenario."""
        found = [0.0] * self.scenarios.count
        for want in self.scenarios.wants:
            for n, young in enumerate(self.brought[want.key]):
                found[n] += want.weight * (young if want.most is None else min(young, want.most))
        return found

    def gain(self, other: Scenarios, animal: str, without: Chosen | None = None) -> float:
        """What is expected more in scenarios that differ in that animal alone, or without one of
        its pairings. Only what that animal and its mates bring is looked at again."""
        touched = {animal, *(key for p in self._of[animal] for key in (p.sire, p.dam))}
        pairs = sorted({pair for key in touched for pair in self._of[key]})
        left = [pair for pair in pairs if pair != without]
        of = {key: [p for p in self._of[key] if p != without] for key in touched}
        new = {key: _shares(other, key, its) for key, its in of.items()}
        after = _merged({**self._shares, **new}.values())
        found = 0.0
        for want in self.scenarios.wants:
            had = _brought(self.scenarios, want, pairs, self._merged)
            has = _brought(other, want, left, after)
            most = inf if want.most is None else want.most
            changes = (
                min(whole - one + its, most) - min(whole, most)
                for whole, one, its in zip(self.brought[want.key], had, has, strict=True)
                if one != its
            )
            found += want.weight * sum(changes)
        return found / self.scenarios.count


def _hangs_on(planned: _Planned) -> tuple[HangsOn, ...]:
    """The sexes and claims that a plan rests on, greatest loss first, settled ones left out."""
    found = [
        one
        for animal in planned.animals
        for one in (_of_sex(planned, animal), *_of_claims(planned, animal))
        if one.chance >= season_number("from", "uncertain")
    ]
    return tuple(sorted(found, key=lambda one: (-round(one.loses, 9), one.animal, one.locus or "")))


def limits_exceeded(season: SeasonInput, plan: SeasonPlan) -> tuple[str, ...]:
    """Which limits a plan does not keep: an animal's key, or "clutches" or "young"."""
    animals = {one.animal: one for one in season.animals}
    sires, dams = Counter(pair.sire for pair in plan), Counter(pair.dam for pair in plan)
    found = [key for key, times in sires.items() if times > serves(season, animals[key])]
    found += [key for key, times in dams.items() if times > 1 or key in sires]
    room = season.limits
    if room.clutches is not None and len(dams) > room.clutches:
        found.append("clutches")
    young = sum(mean_young(animals[pair.dam].young) for pair in plan)
    if room.young is not None and young > room.young:
        found.append("young")
    return tuple(sorted(set(found)))


def serves(season: SeasonInput, one: BreedingAnimal) -> int:
    """How many females it may be given, were it a male."""
    return season.limits.females_per_male if one.serves is None else one.serves


def mean(values: Values) -> float:
    return sum(values) / len(values)


def standard_error(values: Values) -> float:
    """Of the mean, were the scenarios drawn independently; drawn evenly they err less."""
    middle = mean(values)
    return sqrt(sum((one - middle) ** 2 for one in values)) / len(values)


def worst(values: Values) -> float:
    """The mean of the worst tenth: conditional value at risk (Rockafellar and Uryasev 2000)."""
    left = season_number("worst", "share") * len(values)
    ordered = sorted(values)[: ceil(left)]
    total = sum(ordered) - (ceil(left) - left) * ordered[-1]
    return total / left


Shares = Mapping[tuple[Chosen, int], float]
"""Of a clutch that several males sire, each one's, by pairing and scenario; left out: all of it."""


def _shares(scenarios: Scenarios, animal: str, pairs: Sequence[Chosen]) -> Shares:
    """In scenarios in which the animal is a female."""
    if len(pairs) < 2:
        return {}
    works = [scenarios.works(pair) for pair in pairs]
    found: dict[tuple[Chosen, int], float] = {}
    for n, male in enumerate(scenarios.males(animal)):
        if not male:
            sires = [pair for pair, work in zip(pairs, works, strict=True) if work[n]]
            found.update({(pair, n): 1 / len(sires) for pair in sires if len(sires) > 1})
    return found


def _merged(shares: Iterable[Shares]) -> Shares:
    return {key: share for one in shares for key, share in one.items()}


def _brought(
    scenarios: Scenarios, want: Want, pairs: Iterable[Chosen], shares: Shares
) -> list[float]:
    """How many young of the want, by scenario."""
    found = [0.0] * scenarios.count
    for pair in pairs:
        for n, more in scenarios.wanted_young(pair, want):
            found[n] += more * shares.get((pair, n), 1.0)
    return found


def _pairing(planned: _Planned, pair: Chosen) -> PairingWorth:
    scenarios = planned.scenarios
    reasons = objections(scenarios, pair)
    if pair not in planned.pairs:
        return PairingWorth(pair, 0.0, 0.0, {}, 0.0, reasons)
    return PairingWorth(
        pair=pair,
        a_pair=chance_of_pair(scenarios, pair),
        a_pair_strict=chance_of_pair(scenarios, pair, strict=True),
        young={
            one.key: sum(more for _, more in scenarios.wanted_young(pair, one)) / scenarios.count
            for one in scenarios.wants
        },
        adds=-planned.gain(scenarios, pair.dam, without=pair),
        objections=reasons,
    )


def _of_sex(planned: _Planned, animal: str) -> HangsOn:
    scenarios = planned.scenarios
    one = scenarios.animals[animal]
    male = any(pair.sire == animal for pair in planned.pairs)
    as_planned, otherwise = (
        planned.expected + planned.gain(scenarios.supposing(animal, male=it), animal)
        for it in (male, not male)
    )
    chance = 1 - one.p_male if male else one.p_male
    return HangsOn(animal, None, chance, otherwise, as_planned - otherwise)


def _of_claims(planned: _Planned, animal: str) -> Iterable[HangsOn]:
    scenarios = planned.scenarios
    for locus in sorted({key for keys in scenarios.bearing.values() for key in keys}):
        times = Counter(scenarios.genotypes(animal, locus))
        chances = {one: times[one] / scenarios.count for one in times if one is not None}
        if len(chances) > 1:
            yield _of_claim(planned, (animal, locus), chances)


def _of_claim(planned: _Planned, of: tuple[str, str], chances: Mapping[Genotype, float]) -> HangsOn:
    """Against the genotype that the plan does best with; the others as likely as they are."""
    animal = of[0]
    values = {
        one: planned.expected + planned.gain(planned.scenarios.carrying(*of, one), animal)
        for one in sorted(chances)
    }
    best = max(values, key=values.__getitem__)
    rest = sum(p for one, p in chances.items() if one != best)
    otherwise = sum(p * values[one] for one, p in chances.items() if one != best) / rest
    return HangsOn(*of, rest, otherwise, values[best] - otherwise)

"""What a plan made by hand should bring, in the mean and in the worst tenth of seasons.

A scenario's value is the worth of the wanted young that it brings: for each want its weight for
each young, up to as many as are wanted. Two of one sex bring nothing. A female has one clutch; with
several males each sires an equal share of it.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from math import ceil, sqrt

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype
from scalewitness.domain.season.figures import season_number
from scalewitness.domain.season.objections import Objection, chance_of_pair, objections
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import Chosen, SeasonInput, SeasonPlan

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
    objections: tuple[Objection, ...]


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


def season_worth(season: SeasonInput, plan: SeasonPlan) -> SeasonWorth:
    """Of a plan, whoever made it. Pairings with animals not in the season bring nothing."""
    scenarios = Scenarios(season)
    known = tuple(sorted(one for one in plan if _is_known(scenarios, one)))
    values, brought = outcomes(scenarios, known)
    expected = mean(values)
    return SeasonWorth(
        expected=expected,
        error=standard_error(values),
        worst=worst(values),
        strict=mean(outcomes(Scenarios(season, strict=True), known)[0]),
        young={key: mean(young) for key, young in brought.items()},
        pairings=tuple(_pairing(scenarios, one, known, expected) for one in sorted(plan)),
        hangs_on=hangs_on(scenarios, known),
        over=limits_exceeded(season, known),
    )


def outcomes(
    scenarios: Scenarios, plan: Iterable[Chosen]
) -> tuple[list[float], Mapping[str, list[float]]]:
    """The value by scenario, and how many young of each want."""
    pairs = sorted(plan)
    shares = _shares(scenarios, pairs)
    values = [0.0] * scenarios.count
    brought: dict[str, list[float]] = {}
    for want in scenarios.wants:
        young = [0.0] * scenarios.count
        for pair in pairs:
            for n, more in scenarios.wanted_young(pair, want):
                young[n] += more * shares.get((pair, n), 1.0)
        brought[want.key] = young
        for n, number in enumerate(young):
            values[n] += want.weight * (number if want.most is None else min(number, want.most))
    return values, brought


def hangs_on(scenarios: Scenarios, plan: SeasonPlan) -> tuple[HangsOn, ...]:
    """The sexes and claims that a plan rests on, greatest loss first, settled ones left out."""
    found = [
        one
        for animal in sorted({key for pair in plan for key in (pair.sire, pair.dam)})
        for one in (_of_sex(scenarios, plan, animal), *_of_claims(scenarios, plan, animal))
        if one.chance >= season_number("from", "uncertain")
    ]
    return tuple(sorted(found, key=lambda one: (-one.loses, one.animal, one.locus or "")))


def limits_exceeded(season: SeasonInput, plan: SeasonPlan) -> tuple[str, ...]:
    """Which limits a plan does not keep: an animal's key, or "clutches" or "young"."""
    animals = {one.animal: one for one in season.animals}
    used: defaultdict[str, int] = defaultdict(int)
    for pair in plan:
        used[pair.sire] += 1
        used[pair.dam] += 0
    serves = {key: animals[key].serves for key in used}
    usual = season.limits.females_per_male
    found = [
        key
        for key, times in used.items()
        if times > (usual if (own := serves[key]) is None else own)
    ]
    dams = [pair.dam for pair in plan]
    found += [key for key in set(dams) if dams.count(key) > 1 or key in {p.sire for p in plan}]
    room = season.limits
    if room.clutches is not None and len(set(dams)) > room.clutches:
        found.append("clutches")
    if room.young is not None and sum(mean_young(animals[key].young) for key in dams) > room.young:
        found.append("young")
    return tuple(sorted(set(found)))


def mean_young(young: Mapping[int, float]) -> float:
    """Of one clutch."""
    return sum(n * p for n, p in young.items())


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


def _is_known(scenarios: Scenarios, pair: Chosen) -> bool:
    return pair.sire in scenarios.animals and pair.dam in scenarios.animals


def _shares(scenarios: Scenarios, pairs: Sequence[Chosen]) -> dict[tuple[Chosen, int], float]:
    """Of a clutch that several males sire, each one's, where it is not all."""
    of: defaultdict[str, list[Chosen]] = defaultdict(list)
    for pair in pairs:
        of[pair.sire].append(pair)
        of[pair.dam].append(pair)
    found: dict[tuple[Chosen, int], float] = {}
    for animal, its in of.items():
        if len(its) < 2:
            continue
        works = [scenarios.works(pair) for pair in its]
        for n, male in enumerate(scenarios.males(animal)):
            sires = [pair for pair, work in zip(its, works, strict=True) if work[n]]
            if not male and len(sires) > 1:
                found.update({(pair, n): 1 / len(sires) for pair in sires})
    return found


def _pairing(scenarios: Scenarios, pair: Chosen, plan: SeasonPlan, expected: float) -> PairingWorth:
    reasons = objections(scenarios, pair)
    if not _is_known(scenarios, pair):
        return PairingWorth(pair, 0.0, 0.0, {}, 0.0, reasons)
    without = tuple(one for one in plan if one != pair)
    return PairingWorth(
        pair=pair,
        a_pair=chance_of_pair(scenarios, pair),
        a_pair_strict=chance_of_pair(scenarios, pair, strict=True),
        young={
            one.key: sum(more for _, more in scenarios.wanted_young(pair, one)) / scenarios.count
            for one in scenarios.wants
        },
        adds=expected - mean(outcomes(scenarios, without)[0]),
        objections=reasons,
    )


def _of_sex(scenarios: Scenarios, plan: SeasonPlan, animal: str) -> HangsOn:
    one = scenarios.animals[animal]
    male = any(pair.sire == animal for pair in plan)
    chance = 1 - one.p_male if male else one.p_male
    as_planned = mean(outcomes(scenarios.supposing(animal, male=male), plan)[0])
    otherwise = mean(outcomes(scenarios.supposing(animal, male=not male), plan)[0])
    return HangsOn(animal, None, chance, otherwise, as_planned - otherwise)


def _of_claims(scenarios: Scenarios, plan: SeasonPlan, animal: str) -> Iterable[HangsOn]:
    kinds, which = scenarios.carried(animal)
    for locus in sorted({key for one in kinds for key in one}):
        times = Counter(kinds[n].get(locus) for n in which)
        chances = {one: times[one] / scenarios.count for one in times if one is not None}
        if len(chances) > 1:
            yield _of_claim(scenarios, plan, (animal, locus), chances)


def _of_claim(
    scenarios: Scenarios,
    plan: SeasonPlan,
    of: tuple[str, str],
    chances: Mapping[Genotype, float],
) -> HangsOn:
    """Against the genotype that the plan does best with; the others as likely as they are."""
    values = {one: mean(outcomes(scenarios.carrying(*of, one), plan)[0]) for one in sorted(chances)}
    best = max(values, key=values.__getitem__)
    rest = sum(p for one, p in chances.items() if one != best)
    otherwise = sum(p * values[one] for one, p in chances.items() if one != best) / rest
    return HangsOn(*of, rest, otherwise, values[best] - otherwise)

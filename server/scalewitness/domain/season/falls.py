"""What if an animal is of the other sex, or a claim falls; and which single fall hurts most."""

from collections.abc import Iterator

from msgspec import Struct

from scalewitness.domain.genetics.traits import Genotype
from scalewitness.domain.season.options import Options, possible, possible_with
from scalewitness.domain.season.repair import broken_of, change_costs
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.search import Search
from scalewitness.domain.season.values import SeasonInput, SeasonPlan


class Fall(Struct, frozen=True):
    """An animal of a plan turns out to be of the other sex than it is planned as, which has this
    ``chance``. The season was expected to bring ``before``; it brings ``left`` if nothing is done
    and ``after`` a repair, to ``plan``."""

    animal: str
    chance: float
    before: float
    left: float
    after: float
    broken: SeasonPlan
    plan: SeasonPlan

    @property
    def hurts(self) -> float:
        """What the season brings less, repaired."""
        return self.before - self.after


class SupposedSeason(Struct, frozen=True):
    """A season in which something is known of one animal, the plan repaired to it step by step."""

    options: Options
    plan: tuple[int, ...]

    def value(self, plan: SeasonPlan) -> float:
        """Expected of any plan; pairings that cannot be made now bring nothing."""
        known = [self.options.at[pair] for pair in plan if pair in self.options.at]
        return float(self.options.values(known).mean())

    @property
    def pairs(self) -> SeasonPlan:
        return tuple(self.options.pairs[n] for n in self.plan)


def falls(season: SeasonInput, plan: SeasonPlan) -> tuple[Fall, ...]:
    """Of each animal in the plan; what hurts most first."""
    options = planned_options(season, plan)
    found = list(_falls(options, tuple(sorted(pair for pair in plan if pair in options.at))))
    return tuple(sorted(found, key=lambda one: (-round(one.hurts, 9), one.animal)))


def planned_options(season: SeasonInput, plan: SeasonPlan) -> Options:
    """What may be proposed, and what is planned already."""
    scenarios = Scenarios(season)
    return Options(scenarios, {*possible(scenarios), *filter(scenarios.has, plan)})


def _falls(options: Options, plan: SeasonPlan) -> Iterator[Fall]:
    scenarios = options.scenarios
    sires = {pair.sire for pair in plan}
    for animal in sorted(sires | {pair.dam for pair in plan}):
        male, p_male = animal in sires, scenarios.animals[animal].p_male
        planned = Options(scenarios.supposing(animal, male=male), plan, options, animal)
        otherwise = supposed(options, scenarios.supposing(animal, male=not male), animal, plan)
        broken = broken_of(otherwise.options.scenarios, plan)
        yield Fall(
            animal=animal,
            chance=1 - p_male if male else p_male,
            before=float(planned.values(range(len(plan))).mean()),
            left=otherwise.value(tuple(sorted(set(plan) - set(broken)))),
            after=otherwise.value(otherwise.pairs),
            broken=broken,
            plan=otherwise.pairs,
        )


def supposed(
    options: Options, scenarios: Scenarios, animal: str, plan: SeasonPlan
) -> SupposedSeason:
    """With other ``scenarios`` of one animal, whose own pairings are free to be changed. Never
    worse than what is not broken of the plan."""
    others = {one for one in options.pairs if animal not in (one.sire, one.dam)}
    pairs = {*others, *possible_with(scenarios, animal), *plan}
    now = Options(scenarios, pairs, options, animal)
    intact = sorted(now.at[one] for one in set(plan) - set(broken_of(scenarios, plan)))
    kept = [n for n in now.rules.fixed if n in intact]
    own = [n for n in intact if animal in (now.pairs[n].sire, now.pairs[n].dam) and n not in kept]
    costs = change_costs(now, intact)
    costs[own] = scenarios.season.limits.least
    search = Search(now, 0.0, costs, kept)
    dams = {pair.dam for pair in plan if animal in (pair.sire, pair.dam)} | {animal}
    found = search.mended(sorted(set(intact) - set(own)), sorted(dams))
    best = found if search.value(found) >= search.value(intact) else intact
    return SupposedSeason(now, tuple(best))


def of_sex(options: Options, animal: str, plan: SeasonPlan, *, male: bool) -> SupposedSeason:
    """Were it of that sex."""
    return supposed(options, options.scenarios.supposing(animal, male=male), animal, plan)


def of_claim(
    options: Options, animal: str, plan: SeasonPlan, locus: str, genotype: Genotype
) -> SupposedSeason:
    """Were that what it carries."""
    scenarios = options.scenarios.carrying(animal, locus, genotype)
    return supposed(options, scenarios, animal, plan)

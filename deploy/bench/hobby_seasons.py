"""What planning with doubts and checking in order is worth, in a simulated hobby.

    python deploy/bench/hobby_seasons.py

Breeders plan the same animals for some seasons. Of a third of the animals the sex is an earlier
keeper's statement, a third were probed once, a third by two keepers who agree; keepers are wrong
at a given rate, each by themselves. Some animals are claimed to carry a trait. Three ways to
plan are followed in the same collections, with the same luck:

- **ours**: the best plan for what is believed, after the checks that gain most, one by one;
- **labels**: the best plan for the likelier sex and genotype of each animal, taken as true;
- **random**: the best plan for what is believed, after as many checks of animals drawn at random.

A check is one more keeper's probing. In all three ways a clutch shows both sexes, and two that
brought none are believed to be a pair a little less. What a season brings is the mean over luck
for what the animals truly are. Prints the mean of a breeder's season by each way, and how much ours
brings more, with 95 % intervals over breeders. There is no threshold.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence
from math import sqrt
from pathlib import Path
from typing import NamedTuple

import numpy as np
from msgspec.structs import replace

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.genetics.traits import Genotype, locus
from scalewitness.domain.genetics.young import WantedYoung, pair_chance
from scalewitness.domain.season.by_hand import mean, outcomes
from scalewitness.domain.season.check_first import (
    FEMALE,
    MALE,
    CheckAnswer,
    PossibleCheck,
    check_first,
    supposed_rates,
)
from scalewitness.domain.season.optimum import solve
from scalewitness.domain.season.options import Options, possible
from scalewitness.domain.season.reproduction import clutch_sizes
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import (
    BreedingAnimal,
    Chosen,
    Limits,
    SeasonInput,
    SeasonPlan,
    Want,
)
from scalewitness.domain.sexing.parameters import load_parameters

SPECIES = "python_regius"
LOCI = (locus(SPECIES, "albino"), locus(SPECIES, "piebald"))
ALLELES = {one.key: one.alleles[1] for one in LOCI}
LAYS = 0.8
"""Of females put to a male, the share that lay (our judgement; no figure was found)."""
CLAIM_RIGHT = LOCI[0].number("claim_right")
LUCK = 40
WAYS = ("ours", "labels", "random")


class Rate(NamedTuple):
    """How often a keeper's call of a sex is wrong, and where that comes from."""

    words: str
    wrong: float


def rates() -> tuple[Rate, ...]:
    base, strict = (getattr(load_parameters(), name) for name in ("base", "pessimistic"))
    found = []
    for words, numbers in (("the model’s", base), ("the model’s pessimistic", strict)):
        a, b = numbers.value("error.keeper.a"), numbers.value("error.keeper.b")
        found.append(Rate(words, a / (a + b)))
    published = strict.value("wrong_or_unresolved.probing")
    return (*found, Rate("published, wrong or unresolved", published))


def stated_wrong() -> float:
    """An earlier keeper's statement, by the model."""
    return load_parameters().base.value("statement.earlier_keeper.says_male.any.female")


def both_wrong(wrong: float) -> float:
    """Two who agree, each wrong by themselves."""
    return wrong**2 / (wrong**2 + (1 - wrong) ** 2)


class Truth(NamedTuple):
    male: bool
    genotypes: Mapping[str, Genotype]


class Collection(NamedTuple):
    """What the animals are, and what their keeper was told."""

    truth: Mapping[str, Truth]
    animals: tuple[BreedingAnimal, ...]
    wants: tuple[Want, ...]


def collection(rng: np.random.Generator, wrong: float) -> Collection:
    """2 to 4 labelled males, 6 to 12 labelled females."""
    truth, animals = {}, []
    counts = (("m", int(rng.integers(2, 5))), ("f", int(rng.integers(6, 13))))
    for kind, count in counts:
        for n in range(count):
            key, labelled = f"{kind}{n:02}", kind == "m"
            doubt = (stated_wrong(), wrong, both_wrong(wrong))[int(rng.integers(3))]
            one = Truth(labelled != (rng.random() < doubt), {})
            carries = {key: _carried(rng, key) for key in ALLELES}
            genotypes = {key: _drawn(rng, chances) for key, chances in carries.items()}
            truth[key] = one._replace(genotypes=genotypes)
            p = 1 - doubt if labelled else doubt
            young = {0: 1 - LAYS} | {n: LAYS * q for n, q in clutch_sizes(SPECIES).items()}
            animals.append(BreedingAnimal(key, SPECIES, p, p, young, carries))
    wants = [
        Want("albinos", 1.0, WantedYoung(genotypes=_both("albino")), most=8),
        Want("piebalds", 2.0, WantedYoung(genotypes=_both("piebald")), most=6),
        Want("both", 10.0, WantedYoung(genotypes={**_both("albino"), **_both("piebald")}), most=2),
        Want("females", 0.1, WantedYoung(False), most=30),
    ]
    return Collection(truth, tuple(animals), tuple(wants))


def _both(key: str) -> dict[str, frozenset[Genotype]]:
    return {key: frozenset({(ALLELES[key], ALLELES[key])})}


def _carried(rng: np.random.Generator, key: str) -> Mapping[Genotype, float]:
    """Visual, claimed to carry one, or plain."""
    wild, allele = "wild", ALLELES[key]
    kind = rng.choice(3, p=(0.2, 0.35, 0.45))
    if kind == 0:
        return {(allele, allele): 1.0}
    if kind == 1:
        return {(wild, allele): CLAIM_RIGHT, (wild, wild): 1 - CLAIM_RIGHT}
    return {(wild, wild): 1.0}


def _drawn(rng: np.random.Generator, chances: Mapping[Genotype, float]) -> Genotype:
    kinds = list(chances)
    return kinds[int(rng.choice(len(kinds), p=[chances[one] for one in kinds]))]


def season_of(world: Collection, believed: Mapping[str, float], seed: int) -> SeasonInput:
    animals = tuple(
        replace(one, p_male=believed[one.animal], p_male_strict=believed[one.animal])
        for one in world.animals
    )
    limits = Limits(females_per_male=4, least=0.05)
    return SeasonInput(animals, world.wants, limits, LOCI, scenarios=60, seed=seed)


def as_labelled(season: SeasonInput) -> SeasonInput:
    """Everything that is likelier taken as true."""
    animals = tuple(
        replace(
            one,
            p_male=float(one.p_male >= 0.5),
            p_male_strict=float(one.p_male >= 0.5),
            carries={
                key: {max(sorted(chances), key=chances.__getitem__): 1.0}
                for key, chances in one.carries.items()
            },
        )
        for one in season.animals
    )
    return replace(season, animals=animals)


def plan_of(season: SeasonInput) -> SeasonPlan:
    scenarios = Scenarios(season)
    options = Options(scenarios, possible(scenarios))
    solved = solve(options, 0.0, np.full(len(options.pairs), season.limits.least))
    return tuple(options.pairs[n] for n in solved.plan)


def brings(world: Collection, season: SeasonInput, plan: SeasonPlan) -> float:
    """The mean over luck, the animals being what they are."""
    animals = tuple(
        replace(
            one,
            p_male=float(world.truth[one.animal].male),
            carries={key: {g: 1.0} for key, g in world.truth[one.animal].genotypes.items()},
        )
        for one in season.animals
    )
    return mean(outcomes(Scenarios(replace(season, animals=animals), count=LUCK), plan))


class Breeder:
    """One way to plan, followed through the seasons of a collection. Answers of checks and clutches
    are drawn by animal and season, so that all ways meet the same."""

    def __init__(self, world: Collection, way: str, wrong: float, seed: int) -> None:
        self.world, self.way, self.wrong, self.seed = world, way, wrong, seed
        self.believed = {one.animal: one.p_male for one in world.animals}

    def season(self, year: int, checks: int) -> float:
        """What it brings, and what it teaches."""
        rng = np.random.default_rng((self.seed, year))
        answers = {key: rng.random(checks) >= self.wrong for key in self.world.truth}
        lays = {key: rng.random() < LAYS for key in self.world.truth}
        order = rng.permutation(len(self.world.animals))
        made: dict[str, int] = {}
        for n in range(0 if self.way == "labels" else checks):
            key = self._first(year) if self.way == "ours" else None
            if self.way == "random":
                key = self.world.animals[order[n % len(order)]].animal
            if key is None:
                break
            right = bool(answers[key][made.setdefault(key, 0)])
            made[key] += 1
            self._learn(key, says_male=self.world.truth[key].male == right)
        season = self._season(year)
        plan = plan_of(as_labelled(season) if self.way == "labels" else season)
        for pair in plan:
            self._see(pair, lays)
        return brings(self.world, season, plan)

    def _season(self, year: int) -> SeasonInput:
        return season_of(self.world, self.believed, 1000 * self.seed + year)

    def _first(self, year: int) -> str | None:
        """The animal whose check gains most, by itself or, where none does, with others after it;
        None where not even certainty gains."""
        season = self._season(year)
        unsure = [one for one in season.animals if 0.005 < one.p_male < 0.995]
        possible_checks = [self._check(one) for one in unsure]
        found = check_first(season, plan_of(season), possible_checks, supposed_rates())
        best = max(found, key=lambda one: (one.gains, one.certain), default=None)
        return best.check.animal if best is not None and best.certain > 0 else None

    def _check(self, one: BreedingAnimal) -> PossibleCheck:
        p, right = one.p_male, 1 - self.wrong
        answers = []
        for says_right_if_male in (right, 1 - right):
            male, female = p * says_right_if_male, (1 - p) * (1 - says_right_if_male)
            whole = male + female
            answers.append(CheckAnswer(whole, {MALE: male / whole, FEMALE: female / whole}))
        return PossibleCheck(one.animal, "probing", "keeper", tuple(answers))

    def _learn(self, key: str, *, says_male: bool) -> None:
        p, right = self.believed[key], 1 - self.wrong
        male = p * (right if says_male else 1 - right)
        self.believed[key] = male / (male + (1 - p) * (1 - right if says_male else right))

    def _see(self, pair: Chosen, lays: Mapping[str, bool]) -> None:
        """A clutch shows who laid it; none may come of one sex, or of a dam that did not lay."""
        sexes = {key: self.world.truth[key].male for key in (pair.sire, pair.dam)}
        dam = pair.dam if sexes[pair.sire] else pair.sire
        if sexes[pair.sire] != sexes[pair.dam] and lays[dam]:
            self.believed |= {key: float(male) for key, male in sexes.items()}
            return
        p, q = self.believed[pair.sire], self.believed[pair.dam]
        none = 1 - LAYS * pair_chance(p, q)
        self.believed[pair.sire] = p * (1 - LAYS * (1 - q)) / none
        self.believed[pair.dam] = q * (1 - LAYS * (1 - p)) / none


def interval(values: Sequence[float]) -> str:
    middle = float(np.mean(values))
    half = 1.96 * float(np.std(values, ddof=1)) / sqrt(len(values))
    return f"{middle:.2f} ({middle - half:.2f} to {middle + half:.2f})"


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--breeders", type=int, default=100)
    arguments.add_argument("--seasons", type=int, default=5)
    arguments.add_argument("--checks", type=int, default=3)
    given = arguments.parse_args()
    print(
        "| a keeper is wrong | in 100 | ours | labels | random | ours over labels "
        "| ours over random |"
    )
    print("|" + "---|" * 7)
    for rate in rates():
        brought: dict[str, list[float]] = {way: [] for way in WAYS}
        for breeder in range(given.breeders):
            world = collection(np.random.default_rng((breeder, 7)), rate.wrong)
            for way in WAYS:
                one = Breeder(world, way, rate.wrong, breeder)
                seasons = [one.season(year, given.checks) for year in range(given.seasons)]
                brought[way].append(mean(seasons))
        ours = np.array(brought["ours"])
        print(
            f"| {rate.words} | {100 * rate.wrong:.0f} "
            f"| {' | '.join(f'{np.mean(brought[way]):.2f}' for way in WAYS)} "
            f"| {interval(ours - np.array(brought['labels']))} "
            f"| {interval(ours - np.array(brought['random']))} |",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""How long a season takes to plan: 60 females, 15 males, 10 wants, 200 scenarios.

    python deploy/bench/season.py

Seasons are drawn: uncertain sexes, six loci of the ball python, some claims that may be wrong,
wants with and without an end. Each is planned, with every alternative priced. Then the sire whose
fall hurts most turns out to be a female, and the plan is repaired; then every sex is weighed for
what to check first. Fails if a plan takes more than 60 seconds or is left with a gap above 5 in
100, or if a repair takes more than 10 seconds.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple, TypeVar

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.genetics.traits import Locus, locus
from scalewitness.domain.genetics.young import WantedYoung
from scalewitness.domain.season.by_hand import season_worth
from scalewitness.domain.season.check_first import (
    FEMALE,
    MALE,
    CheckAnswer,
    PossibleCheck,
    check_first,
    supposed_rates,
)
from scalewitness.domain.season.falls import falls
from scalewitness.domain.season.optimum import best_plan
from scalewitness.domain.season.repair import Repair, repaired
from scalewitness.domain.season.reproduction import clutch_sizes
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import (
    BreedingAnimal,
    Limits,
    SeasonInput,
    SeasonPlan,
    Want,
)

SPECIES = "python_regius"
KEYS = ("albino", "lavender_albino", "ultramel", "piebald", "axanthic_vpi", "coral_glow")
LOCI = tuple(locus(SPECIES, key) for key in KEYS)
MOST_SECONDS, MOST_GAP, MOST_REPAIR = 60.0, 0.05, 10.0

T = TypeVar("T")


class Size(NamedTuple):
    males: int
    females: int
    wants: int
    scenarios: int


def drawn(size: Size, seed: int) -> SeasonInput:
    """A season of that size: sexes up to one in ten wrong, claims up to one in two."""
    rng = np.random.default_rng(seed)
    animals = [_animal(rng, f"m{n:02}", male=True) for n in range(size.males)]
    animals += [_animal(rng, f"f{n:02}", male=False) for n in range(size.females)]
    return SeasonInput(
        animals=tuple(animals),
        wants=tuple(_want(rng, f"want {n}") for n in range(size.wants)),
        limits=Limits(females_per_male=5, caution=0.2, least=0.05),
        loci=LOCI,
        scenarios=size.scenarios,
        seed=seed,
    )


def _animal(rng: np.random.Generator, key: str, *, male: bool) -> BreedingAnimal:
    wrong = float(rng.choice((0.001, 0.02, 0.05, 0.1)))
    p = 1 - wrong if male else wrong
    strict = p - wrong if male else p + wrong
    carries = {one.key: _carried(rng, one) for one in LOCI}
    return BreedingAnimal(key, SPECIES, p, strict, clutch_sizes(SPECIES), carries)


def _carried(rng: np.random.Generator, one: Locus) -> dict[tuple[str, ...], float]:
    wild, allele = one.alleles[:2]
    plain, single, double = (wild, wild), (wild, allele), (allele, allele)
    kinds = [
        {plain: 1.0},
        {single: 1.0},
        {double: 1.0},
        {single: 2 / 3, plain: 1 / 3},
        {single: 1 / 2, plain: 1 / 2},
    ]
    return kinds[int(rng.choice(len(kinds), p=(0.45, 0.2, 0.1, 0.15, 0.1)))]


def _want(rng: np.random.Generator, key: str) -> Want:
    chosen = rng.choice(len(LOCI), size=int(rng.choice((1, 1, 2))), replace=False)
    shown = {}
    for one in (LOCI[int(n)] for n in chosen):
        allele = one.alleles[1]
        any_of = {(allele, allele)} if rng.random() < 0.7 else {(one.alleles[0], allele)}
        shown[one.key] = frozenset(any_of)
    most = (None, 2, 4, 10, 20)[int(rng.integers(5))]
    male = (None, None, False)[int(rng.integers(3))]
    weight = float(rng.choice((0.2, 0.5, 1.0, 2.0, 5.0)))
    return Want(key, weight, WantedYoung(male, genotypes=shown), most=most)


def timed(action: Callable[[], T]) -> tuple[T, float, float]:
    """With seconds by the clock and of one core."""
    began, used = time.perf_counter(), time.process_time()
    found = action()
    return found, time.perf_counter() - began, time.process_time() - used


def certain(one: BreedingAnimal) -> PossibleCheck:
    """A check that settles the sex, for nothing."""
    answers = (CheckAnswer(one.p_male, {MALE: 1.0}), CheckAnswer(1 - one.p_male, {FEMALE: 1.0}))
    return PossibleCheck(one.animal, "dna", "laboratory", answers)


def fallen(season: SeasonInput, plan: SeasonPlan, sire: str) -> Repair:
    """The repair, were that male a female."""
    return repaired(Scenarios(season).supposing(sire, male=False).season, plan)


def planned(season: SeasonInput) -> bool:
    """Prints one row; whether it keeps to what is allowed."""
    best, seconds, core = timed(lambda: best_plan(season))
    plan = best.plan
    hurting, fall_seconds, _ = timed(lambda: falls(season, plan))
    sire = next(one.animal for one in hurting if one.animal in {pair.sire for pair in plan})
    repair, repair_seconds, repair_core = timed(lambda: fallen(season, plan, sire))
    checks = [certain(one) for one in season.animals]
    _, check_seconds, _ = timed(lambda: check_first(season, plan, checks, supposed_rates()))
    _, hand_seconds, _ = timed(lambda: season_worth(season, plan))
    worth = best.worth
    print(
        f"| {season.seed} | {len(plan)} | {worth.expected:.1f} | {worth.worst:.1f} "
        f"| {best.fresh:.1f} ± {1.96 * best.fresh_error:.1f} | {100 * best.gap:.2f} "
        f"| {seconds:.1f} ({core:.1f}) | {len(repair.dropped)} + {len(repair.added)} "
        f"| {repair_seconds:.1f} ({repair_core:.1f}) | {fall_seconds:.1f} | {check_seconds:.1f} "
        f"| {hand_seconds:.1f} |",
        flush=True,
    )
    kept = seconds <= MOST_SECONDS and best.gap <= MOST_GAP
    return kept and repair_seconds <= MOST_REPAIR


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--males", type=int, default=15)
    arguments.add_argument("--females", type=int, default=60)
    arguments.add_argument("--wants", type=int, default=10)
    arguments.add_argument("--scenarios", type=int, default=200)
    arguments.add_argument("--seasons", type=int, default=4)
    given = arguments.parse_args()
    size = Size(given.males, given.females, given.wants, given.scenarios)
    print(
        "| season | pairings | expected | worst tenth | in 1,000 fresh seasons | gap, in 100 "
        "| plan, s (of one core) | repair: dropped + added | repair, s (of one core) "
        "| every fall, s | every check, s | by hand, s |"
    )
    print("|" + "---|" * 12)
    kept = [planned(drawn(size, seed)) for seed in range(1, given.seasons + 1)]
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())

"""How fast genotypes are worked out: a herd of 2,000 relatives at 12 unlinked loci, and one change.

    python deploy/bench/genotypes.py

Herds are drawn at random: some males and females, their young, some of these with some of their
parents as the next generation's, and so on. At each locus something is known of six animals in ten,
misread now and then. The whole herd may take 3 seconds of one core, one locus of it after one
change 200 ms. A herd whose tables would pass ten million entries is said to be too tangled, and
bounds on some of its animals are timed instead. A pedigree as a page has it is worked out in plain
Python, as a page does.
"""

import argparse
import random
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple, TypeVar

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from msgspec.structs import replace

from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.genetics.carried import Bounded, carried, carried_at
from scalewitness.domain.genetics.pedigree import Likelihoods, Member, Pedigree
from scalewitness.domain.genetics.tables import PLAIN
from scalewitness.domain.genetics.traits import Locus, locus

T = TypeVar("T")
WHOLE_S, CHANGE_MS = 3.0, 200.0
LOCI = 12
WILD, MUTANT = "wild", "albino"
PLAIN_LOOK: Likelihoods = {(WILD, WILD): 1.0, (WILD, MUTANT): 1.0, (MUTANT, MUTANT): 0.01}
SHOWS: Likelihoods = {(WILD, WILD): 1e-4, (WILD, MUTANT): 1e-4, (MUTANT, MUTANT): 1.0}


class Herd(NamedTuple):
    """``animals`` in so many ``generations``, from so many males and females at a time; ``sure``:
    the chance that a stated parent is the parent."""

    animals: int
    generations: int
    males: int
    females: int
    sure: float = 1.0

    def __str__(self) -> str:
        doubt = "" if self.sure == 1 else f", each stated parent {self.sure:g} sure"
        parents = f"{self.males} males and {self.females} females"
        return f"{self.generations} generations of {parents}{doubt}"


HERDS = (
    Herd(2000, 3, 8, 40),
    Herd(2000, 3, 8, 40, 0.99),
    Herd(2000, 5, 4, 20),
    Herd(2000, 2, 15, 60),
    Herd(2000, 5, 8, 40),
)
ON_A_PAGE = Herd(200, 3, 3, 6)


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    base = locus("python_regius", "albino")
    loci = [replace(base, key=f"locus{n}") for n in range(LOCI)]
    misses = []
    for herd in HERDS:
        misses += _measure(herd, loci, given.seed)
    page = _drawn(ON_A_PAGE, loci[:1], given.seed)
    seconds, _ = _timed(lambda: carried(page, loci[0], PLAIN))
    print(f"{len(page)} animals at one locus in plain Python: {1000 * seconds:.0f} ms")
    for miss in misses:
        print(f"MISS  {miss}")
    return 1 if misses else 0


def _measure(herd: Herd, loci: Sequence[Locus], seed: int) -> list[str]:
    whole = _drawn(herd, loci, seed)
    one = next(iter(whole)).id
    if isinstance(carried(whole, loci[0], ARRAYS, of=[one])[one], Bounded):
        _bounds(herd, whole, loci[0])
        return []
    seconds, found = _timed(lambda: carried_at(whole, loci, ARRAYS).chances)
    count = sum(len(at) for at in found.values())
    new = {**whole[one].evidence, loci[0].key: PLAIN_LOOK}
    change, _ = _timed(
        lambda: carried(
            Pedigree(replace(each, evidence=new) if each.id == one else each for each in whole),
            loci[0],
            ARRAYS,
        )
    )
    print(
        f"{len(whole)} animals, {herd}: {count} genotypes in {seconds:.2f} s, "
        f"one locus after one change in {1000 * change:.0f} ms"
    )
    late = [f"{herd}: {seconds:.2f} s"] if seconds > WHOLE_S else []
    return late + ([f"{herd}: {1000 * change:.0f} ms"] if 1000 * change > CHANGE_MS else [])


def _bounds(herd: Herd, whole: Pedigree, at: Locus) -> None:
    names = [one.id for one in whole][:: max(1, len(whole) // 50)]
    seconds, found = _timed(lambda: carried(whole, at, ARRAYS, of=names))
    widths = [
        max(each.high[g] - each.low[g] for g in each.high)
        for each in found.values()
        if isinstance(each, Bounded)
    ]
    useful = sum(width < 1 for width in widths)
    print(
        f"{len(whole)} animals, {herd}: too tangled; bounds on {len(widths)} of them in "
        f"{seconds:.2f} s, {useful} of which say anything"
    )


def _timed(action: Callable[[], T]) -> tuple[float, T]:
    """Seconds of one core, and what came of it."""
    began = time.process_time()
    found = action()
    return time.process_time() - began, found


def _drawn(herd: Herd, loci: Sequence[Locus], seed: int) -> Pedigree:
    dice = random.Random(seed)  # noqa: S311  chosen to be repeatable
    males = [f"m{n}" for n in range(herd.males)]
    females = [f"f{n}" for n in range(herd.females)]
    members = [Member(one, 1.0, evidence=_known(dice, loci)) for one in males]
    members += [Member(one, 0.0, evidence=_known(dice, loci)) for one in females]
    each = (herd.animals - len(members)) // herd.generations // herd.females
    for generation in range(herd.generations):
        young: list[Member] = []
        for dam in females:
            sires, dams = {dice.choice(males): herd.sure}, {dam: herd.sure}
            for n in range(each):
                male, known = float(dice.random() < 0.5), _known(dice, loci)
                young.append(Member(f"{dam}.{generation}.{n}", male, sires, dams, evidence=known))
        members += young
        males = _next(dice, males, (one.id for one in young if one.male), herd.males)
        females = _next(dice, females, (one.id for one in young if not one.male), herd.females)
    return Pedigree(members)


def _next(dice: random.Random, old: Sequence[str], young: Iterable[str], count: int) -> list[str]:
    """Half of the next generation's parents were parents before."""
    kept = dice.sample(old, count // 2)
    return kept + dice.sample(sorted(young), count - len(kept))


def _known(dice: random.Random, loci: Sequence[Locus]) -> Mapping[str, Likelihoods]:
    return {
        one.key: PLAIN_LOOK if dice.random() < 0.9 else SHOWS for one in loci if dice.random() < 0.6
    }


if __name__ == "__main__":
    sys.exit(main())

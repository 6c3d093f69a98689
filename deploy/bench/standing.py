"""How fast standings are worked out: one animal, and a hundred thousand together.

    python deploy/bench/standing.py

Every animal has five calls of varied methods, depths, examiners and circumstances, drawn at
random, so that few of them repeat. Prints the seconds for all animals together, and their
ratio to assessing one animal after the other, timed in the same run on a sample, whose
answers must be the same. Fails if they are not, if all together take 20 seconds or more of
one core, if a standing takes a millisecond or more, or its sensitivity 20.
"""

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Observation,
    Pass,
    Probing,
    Radiography,
    ScaleCount,
    Sex,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.batch import Record, reassess
from scalewitness.domain.sexing.case import Standing
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.sensitivity import sensitivity
from scalewitness.domain.sexing.standing import Assessment, assess
from scalewitness.domain.sexing.taxa import Taxon, species_list

PARAMETERS = load_parameters("sexing-2")
SPECIES = species_list("sexing-2")
MOST_SECONDS, MOST_ALONE, MOST_SENSITIVITY = 20.0, 1e-3, 20e-3
SEXES: tuple[Sex, Sex] = ("male", "female")
STAGES = ("hatchling", "juvenile", "adult", "unknown")
SURENESS = ("certain", "fairly_sure", "unsure")
DAY = 86_400_000


class Draw:
    """Records of varied calls; ``rng`` decides everything."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self._numbers: list[float] = []

    def record(self, number: int, calls: int) -> Record:
        kind = SPECIES[self.below(len(SPECIES))]
        sex = SEXES[self.below(2)]
        return Record(
            tuple([self._call(f"{number}-{n}", n, sex, kind) for n in range(calls)]), kind
        )

    def below(self, count: int) -> int:
        """A whole number under ``count``."""
        return int(self.uniform() * count)

    def uniform(self) -> float:
        if not self._numbers:
            self._numbers = self.rng.random(100_000).tolist()
        return self._numbers.pop()

    def _call(self, name: str, place: int, truth: Sex, kind: Taxon) -> Evidence:
        seen = truth if self.uniform() < 0.93 else other(truth)
        knows = self.uniform() < 0.3
        keeper = self.below(3000)
        role = ("keeper", "keeper", "keeper", "veterinarian", "earlier_keeper")[keeper % 5]
        observed = self._observed(seen, kind)
        if isinstance(observed, Dna):
            role = "laboratory"
        return Evidence(
            call=name,
            examiner=f"examiner-{keeper}",
            role=role,
            at=place * 9 * DAY + self.below(20 * DAY),
            position=place,
            stage=STAGES[self.below(4)],
            conclusion=seen if self.uniform() < 0.95 else "undetermined",
            sureness=SURENESS[self.below(3)],
            observed=observed,
            identity="confirmed" if self.uniform() < 0.8 else "unconfirmed",
            blind=not knows,
            interested=self.uniform() < 0.3,
            anchored_to=SEXES[self.below(2)] if knows else None,
        )

    def _observed(self, seen: Sex, kind: Taxon) -> Observation:
        if self.uniform() < 0.6:
            return self._probing(seen, kind)
        male = seen == "male"
        return (
            Ultrasound("testes" if male else "ovaries"),
            Ultrasound("hemipenes" if male else "pockets"),
            Radiography(self.uniform() < 0.5, "hemipenes" if male else "none"),
            Eversion("manual", "hemipenes" if male else "nothing"),
            Endoscopy("testes" if male else "ovaries"),
            Dna("ZW", "shed", "homogametic" if male else "heterogametic"),
            ScaleCount(15 + self.below(30)),
            Visual(("tail", "spurs", "size")[self.below(3)]),
            Hearsay(("seller", "papers")[self.below(2)]),
        )[self.below(9)]

    def _probing(self, seen: Sex, kind: Taxon) -> Probing:
        low, high = kind.depths(seen) or (4, 8)
        spread = float(high) - float(low) + 2
        depths = (float(low) - 1 + spread * self.uniform() for _ in range(1 + self.below(3)))
        return Probing(
            tuple(
                [
                    Pass(
                        ("left", "right")[n % 2],
                        f"{max(0, round(depth * 2)) / 2:g}",
                        "choice" if self.uniform() < 0.1 else "resistance",
                    )
                    for n, depth in enumerate(depths)
                ]
            )
        )


def one_by_one(record: Record) -> Assessment:
    return assess(
        record.evidence, record.taxon, EMPTY, DEFAULT_POLICY, PARAMETERS, record.prior_male
    )


def differing(found: Sequence[Standing], alone: Sequence[Assessment]) -> int:
    """How many standings are not those of the animals by themselves."""
    return sum(
        abs(one.p_male - two.p_male) > 1e-12
        or abs(one.p_male_pessimistic - two.p_male_pessimistic) > 1e-12
        or (one.label, one.favoured, one.decisive) != (two.label, two.favoured, two.decisive)
        for one, two in zip(found, alone, strict=True)
    )


def seconds(action: Callable[[], object]) -> tuple[float, float]:
    """CPU and wall-clock seconds."""
    cpu, wall = time.process_time(), time.perf_counter()
    action()
    return time.process_time() - cpu, time.perf_counter() - wall


def each(records: Sequence[Record], action: Callable[[Record], object]) -> list[float]:
    """CPU seconds per animal, in order of size."""
    return sorted(seconds(lambda one=record: action(one))[0] for record in records)


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--animals", type=int, default=100_000)
    arguments.add_argument("--calls", type=int, default=5)
    arguments.add_argument("--sample", type=int, default=2_000)
    arguments.add_argument("--seed", type=int, default=7)
    given = arguments.parse_args()

    draw = Draw(np.random.default_rng(given.seed))
    animals = [draw.record(n, given.calls) for n in range(given.animals)]
    sample = animals[: given.sample]
    distinct = len(
        {(a.taxon.key, c.observed, c.conclusion, c.stage) for a in animals for c in a.evidence}
    )
    print(f"{given.animals:,} animals, {given.calls} calls each; {distinct:,} distinct findings")

    found: list[Standing] = []
    cpu, wall = seconds(lambda: found.extend(reassess(animals, EMPTY, DEFAULT_POLICY, PARAMETERS)))
    print(f"together     {cpu:7.2f} s of one core ({wall:.2f} s on the clock)")

    alone: list[Assessment] = []
    sample_cpu, _ = seconds(lambda: alone.extend(map(one_by_one, sample)))
    all_alone = sample_cpu * given.animals / len(sample)
    print(f"one by one   {all_alone:7.2f} s of one core, from a sample of {len(sample):,}")
    print(f"ratio        {all_alone / cpu:7.1f}")

    wrong = differing(found[: len(sample)], alone)
    labels = {one.label for one in found}
    print(f"different    {wrong} of {len(sample):,}; labels seen: {', '.join(sorted(labels))}")

    standing = each(sample, one_by_one)
    print(f"one standing {1e3 * standing[len(standing) // 2]:7.3f} ms (median)")
    moved = each(
        sample[:200],
        lambda one: sensitivity(one.evidence, one.taxon, EMPTY, DEFAULT_POLICY, PARAMETERS),
    )
    print(f"sensitivity  {1e3 * moved[len(moved) // 2]:7.3f} ms (median)")

    in_time = (
        cpu < MOST_SECONDS
        and standing[len(standing) // 2] < MOST_ALONE
        and moved[len(moved) // 2] < MOST_SENSITIVITY
    )
    return 0 if in_time and not wrong else 1


if __name__ == "__main__":
    raise SystemExit(main())

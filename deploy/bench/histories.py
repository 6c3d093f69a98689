"""Invented records for the benches and the frozen standings: varied ones, and torn ones.

A varied record has calls of all methods by thousands of examiners, most of them right. In a
torn one a handful of people contradict each other over weeks, so that sexes rise, fall, turn
and return, and sessions are cut and joined.
"""

import numpy as np
from msgspec import Struct

from scalewitness.domain.observations import (
    Dna,
    Endoscopy,
    Eversion,
    Hearsay,
    Observation,
    Pass,
    Probing,
    Radiography,
    Reproduction,
    ScaleCount,
    Sex,
    Ultrasound,
    Visual,
)
from scalewitness.domain.sexing.case import Standing, case_of
from scalewitness.domain.sexing.evidence import Evidence, other
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.taxa import Taxon, species_list

SEXES: tuple[Sex, Sex] = ("male", "female")
STAGES = ("hatchling", "juvenile", "adult", "unknown")
SURENESS = ("certain", "fairly_sure", "unsure")
DAY = 86_400_000


class Record(Struct, frozen=True):
    """The counting calls of one animal, and what is known of its kind and parents."""

    evidence: tuple[Evidence, ...]
    taxon: Taxon
    prior_male: float = 0.5


class Manner(Struct, frozen=True):
    """How records are drawn: the share of calls that take one sex for the other, how many
    examiners there are, how far apart calls and how late their claimed times may be (in
    days), and the share of probing among the methods."""

    slips: float
    examiners: int
    apart: float
    late: float
    probing: float


VARIED = Manner(slips=0.07, examiners=3000, apart=9, late=20, probing=0.6)
TORN = Manner(slips=0.35, examiners=4, apart=0.5, late=1, probing=0.5)


def standing_of(
    record: Record,
    parameters: Parameters,
    records: ExaminerRecords = EMPTY,
    policy: Policy = DEFAULT_POLICY,
) -> Standing:
    """The record's standing as the service works it out."""
    case = case_of(record.evidence, record.taxon, records, parameters, record.prior_male)
    return case.standing(policy)


class Draw:
    """Records of varied calls; ``rng`` decides everything."""

    def __init__(self, rng: np.random.Generator, manner: Manner = VARIED) -> None:
        self.rng = rng
        self.manner = manner
        self.species = species_list("sexing-2")
        self._numbers: list[float] = []

    def record(self, number: int, calls: int) -> Record:
        kind = self.species[self.below(len(self.species))]
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
        manner = self.manner
        seen = other(truth) if self.uniform() < manner.slips else truth
        knows = self.uniform() < 0.3
        keeper = self.below(manner.examiners)
        role = ("keeper", "keeper", "keeper", "veterinarian", "earlier_keeper")[keeper % 5]
        observed = self._observed(seen, kind)
        if isinstance(observed, Dna):
            role = "laboratory"
        return Evidence(
            call=name,
            examiner=f"examiner-{keeper}",
            role=role,
            at=int((place * manner.apart + manner.late * self.uniform()) * DAY),
            position=place,
            stage=STAGES[self.below(4)],
            conclusion=seen if self.uniform() < 0.95 else "undetermined",
            sureness=SURENESS[self.below(3)],
            observed=observed,
            identity="confirmed" if self.uniform() < 0.8 else self._doubtful(),
            blind=not knows,
            interested=self.uniform() < 0.3,
            anchored_to=SEXES[self.below(2)] if knows else None,
        )

    def _doubtful(self) -> str:
        return "mismatch" if self.uniform() < 0.1 else "unconfirmed"

    def _observed(self, seen: Sex, kind: Taxon) -> Observation:
        if self.uniform() < self.manner.probing:
            return self._probing(seen, kind)
        male = seen == "male"
        return (
            Ultrasound("testes" if male else "ovaries"),
            Ultrasound("hemipenes" if male else "pockets"),
            Radiography(self.uniform() < 0.5, "hemipenes" if male else "none"),
            Eversion("manual", "hemipenes" if male else "nothing"),
            Endoscopy("testes" if male else "ovaries"),
            Dna("ZW", "shed", "homogametic" if male else "heterogametic"),
            Reproduction("laid_eggs", self.uniform() < 0.5),
            ScaleCount(15 + self.below(30)),
            Visual(("tail", "spurs", "size")[self.below(3)]),
            Hearsay(("seller", "papers")[self.below(2)]),
        )[self.below(10)]

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
                        ("choice", "aborted", *["resistance"] * 8)[self.below(10)],
                    )
                    for n, depth in enumerate(depths)
                ]
            )
        )

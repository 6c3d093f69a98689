"""Calls of many animals as columns of numbers, for working them out all at once.

What a call says by itself and what surrounds it repeat from call to call, so each distinct
one is worked out once, by the same code that assesses a single animal; a call is then two
row numbers, its time and its place.
"""

from collections.abc import Iterable, Sequence
from typing import NamedTuple, get_args

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from scalewitness.domain.observations import Method, Reproduction
from scalewitness.domain.sexing.case import check
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.findings import Reading, reading
from scalewitness.domain.sexing.labels import could_decide
from scalewitness.domain.sexing.likelihood import NOTHING
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.sessions import WeighedSession, Weigher
from scalewitness.domain.sexing.taxa import Taxon

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

NEITHER, MALE, FEMALE = 0, 1, 2
SEX = {"male": MALE, "female": FEMALE, "undetermined": NEITHER, None: NEITHER}
"""How columns name a sex; :data:`NEITHER` also stands for none."""

_METHODS = {method: n for n, method in enumerate(get_args(Method))}


class Record(Struct, frozen=True):
    """The counting calls of one animal, and what is known of its kind and parents."""

    evidence: Sequence[Evidence]
    taxon: Taxon
    prior_male: float = 0.5


class Rows(Struct, frozen=True):
    """One row per call, grouped by animal and in log order within each. ``said`` and
    ``around`` are row numbers in the tables; ``at`` in Unix milliseconds."""

    animal: Ints
    said: Ints
    around: Ints
    person: Ints
    at: Ints
    position: Ints

    def take(self, rows: Ints, animal: Ints) -> "Rows":
        """Some rows, perhaps more than once, for other animals."""
        return Rows(
            animal,
            self.said[rows],
            self.around[rows],
            self.person[rows],
            self.at[rows],
            self.position[rows],
        )


class Tables(Struct, frozen=True):
    """Numbers of one parameter set: log chances of each distinct finding and whether it
    tells the sexes apart; what surrounds calls, errors by true sex; hours of an occasion as
    milliseconds."""

    male: Floats
    female: Floats
    telling: Flags
    kappa: Floats
    error_male: Floats
    error_female: Floats
    mislead_male: Floats
    mislead_female: Floats
    doubt: Floats
    width: float


class Common(Struct, frozen=True):
    """What does not depend on the parameter set: the conclusion of each finding; of what
    surrounds calls, the method, the sex known beforehand, and what the policy asks about;
    the examiner of each person."""

    conclusion: Ints
    method: Ints
    anchored: Ints
    decides: Flags
    examines: Flags
    fresh: Flags
    examiner: Ints


class Columns(Struct, frozen=True):
    rows: Rows
    base: Tables
    pessimistic: Tables
    common: Common
    prior_male: Floats


class _Findings(NamedTuple):
    male: list[float]
    female: list[float]
    telling: list[bool]

    def add(self, found: Reading) -> None:
        self.male.append(found.pair[0])
        self.female.append(found.pair[1])
        self.telling.append(found.informative)


class Encoder:
    """Turns records into columns, remembering every distinct finding and surrounding."""

    def __init__(self, records: ExaminerRecords, policy: Policy, parameters: Parameters) -> None:
        self.records = records
        self.policy = policy
        self.parameters = parameters
        self._recorded = {examiner for examiner, _, _ in records.rates}
        self._said: dict[Taxon, dict[tuple[object, ...], int]] = {}
        self._around: dict[tuple[object, ...], int] = {}
        self._people: dict[tuple[object, ...], int] = {}
        self._examiners: dict[str, int] = {}
        self._findings = _Findings([], [], []), _Findings([], [], [])
        self._conclusions: list[int] = []
        self._weighed: list[tuple[WeighedSession, WeighedSession]] = []
        self._examiner_of: list[int] = []

    def columns(self, chunk: Sequence[Record]) -> Columns:
        """The columns of some animals, numbered from 0 as they come. Raises ValueError for
        a prior outside (0, 1) or a call given twice."""
        rows = [row for n, record in enumerate(chunk) for row in self._rows(n, record)]
        table = np.array(rows, dtype=np.int64).reshape(-1, 6).T
        return Columns(
            Rows(*table),
            self._tables(self.parameters.base, 0),
            self._tables(self.parameters.pessimistic, 1),
            self._common(),
            np.array([record.prior_male for record in chunk]),
        )

    def _rows(self, animal: int, record: Record) -> Iterable[tuple[int, ...]]:
        check(record.evidence, record.prior_male)
        said = self._said.setdefault(record.taxon, {})
        for call in sorted(record.evidence, key=lambda one: (one.position, one.call)):
            yield (
                animal,
                self._finding(call, record.taxon, said),
                self._surrounding(call),
                self._person(call),
                call.at,
                call.position,
            )

    def _finding(self, call: Evidence, taxon: Taxon, known: dict[tuple[object, ...], int]) -> int:
        key = (call.observed, call.conclusion, call.stage, call.identity)
        found = known.get(key)
        if found is None:
            sets = self.parameters.base, self.parameters.pessimistic
            for side, numbers in zip(self._findings, sets, strict=True):
                side.add(reading(call, taxon, numbers))
            self._conclusions.append(SEX[call.conclusion])
            found = known[key] = len(self._conclusions) - 1
        return found

    def _surrounding(self, call: Evidence) -> int:
        observed = call.observed
        key = (
            call.role,
            type(observed),
            call.sureness,
            call.identity,
            call.blind,
            call.interested,
            call.anchored_to,
            call.examiner if call.examiner in self._recorded else None,
            observed.witnessed if isinstance(observed, Reproduction) else None,
        )
        found = self._around.get(key)
        if found is None:
            self._weighed.append(self._weigh(call))
            found = self._around[key] = len(self._weighed) - 1
        return found

    def _weigh(self, call: Evidence) -> tuple[WeighedSession, WeighedSession]:
        """Everything but what was found; the taxon decides only that."""
        nothing = Reading(NOTHING, "says_nothing")
        sets = self.parameters.base, self.parameters.pessimistic
        taxon = next(iter(self._said))
        base, pessimistic = (
            Weigher(taxon, self.records, self.parameters, numbers).weigh(call, nothing)
            for numbers in sets
        )
        return base, pessimistic

    def _person(self, call: Evidence) -> int:
        key = (call.examiner, call.role, call.identity == "mismatch")
        found = self._people.get(key)
        if found is None:
            examiner = self._examiners.setdefault(call.examiner, len(self._examiners))
            self._examiner_of.append(examiner)
            found = self._people[key] = len(self._people)
        return found

    def _tables(self, numbers: ParameterSet, side: int) -> Tables:
        findings = self._findings[side]
        weighed = [pair[side] for pair in self._weighed]
        return Tables(
            male=np.array(findings.male),
            female=np.array(findings.female),
            telling=np.array(findings.telling, dtype=np.bool_),
            kappa=np.array([one.kappa for one in weighed]),
            error_male=np.array([one.epsilon[0] for one in weighed]),
            error_female=np.array([one.epsilon[1] for one in weighed]),
            mislead_male=np.array([one.alpha[0] for one in weighed]),
            mislead_female=np.array([one.alpha[1] for one in weighed]),
            doubt=np.array([one.doubt for one in weighed]),
            width=numbers.value("session.hours") * 3_600_000,
        )

    def _common(self) -> Common:
        calls = [base.call for base, _ in self._weighed]
        excluded = self.policy.excluded
        return Common(
            conclusion=np.array(self._conclusions, dtype=np.int64),
            method=np.array([_METHODS[one.method] for one in calls], dtype=np.int64),
            anchored=np.array([SEX[one.anchored_to] for one in calls], dtype=np.int64),
            decides=np.array([could_decide(one, self.policy) for one in calls], dtype=np.bool_),
            examines=np.array([one.method not in excluded for one in calls], dtype=np.bool_),
            fresh=np.array([one.blind and not one.interested for one in calls], dtype=np.bool_),
            examiner=np.array(self._examiner_of, dtype=np.int64),
        )

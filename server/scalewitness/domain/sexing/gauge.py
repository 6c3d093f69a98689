"""What evidence is weighed with, and the standing that it comes to."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

import msgspec

from scalewitness.domain.facts import AdoptedNumber
from scalewitness.domain.sexing.case import Case, case_of
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.kept import Before, NextStanding, settled_against
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.parameters import Parameters, load_parameters, released
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords
from scalewitness.domain.sexing.stated_linkage import Start
from scalewitness.domain.sexing.taxa import taxon


class Numbers(NamedTuple):
    """The numbers of a version. ``kept``: how likely a verified sex must be to stay so where
    nothing but the numbers changed; for released ones no share is enough."""

    parameters: Parameters
    kept: float = 1.0


def as_adopted(version: str, kept: str, numbers: object) -> Numbers:
    """From the row or from the fact alone. Raises UnknownVersion."""
    learned = as_learned(msgspec.convert(numbers, tuple[AdoptedNumber, ...], from_attributes=True))
    base = load_parameters(released(version))
    return Numbers(with_learned(base, learned, version), float(kept))


def as_learned(numbers: Iterable[AdoptedNumber]) -> tuple[LearnedNumber, ...]:
    """As the model has them: decimal strings as they were logged."""
    return tuple(msgspec.convert(msgspec.to_builtins(one), LearnedNumber) for one in numbers)


@dataclass(frozen=True, slots=True)
class Gauge:
    """The policy for labels, the model's numbers and the examiners' records."""

    policy: Policy = DEFAULT_POLICY
    numbers: Parameters = field(default_factory=load_parameters)
    records: ExaminerRecords = EMPTY
    kept: float = 1.0
    """What a verified sex must keep where nothing but the numbers changed."""

    @property
    def parameters(self) -> str:
        """The version of the numbers, which standings name."""
        return self.numbers.name


M = TypeVar("M", bound=Gauge)


def case_by(
    by: Gauge,
    species: str,
    evidence: Sequence[Evidence],
    start: Start,
    *,
    known_elsewhere: bool = False,
) -> Case:
    """The calls weighed: the one place that brings parameters and examiners' records
    together, for intake, reassessing, replay and pages alike. ``start``: where the answer
    starts before any check; ``known_elsewhere``: another record bore its transponder first."""
    kind = taxon(species, by.numbers.version)
    return case_of(
        evidence,
        kind,
        by.records,
        by.numbers,
        start.male,
        start.pessimistic,
        known_elsewhere=known_elsewhere,
    )


def settled_by(
    by: M, before: Before, calls: Callable[[M], Case], named: Callable[[str], M]
) -> NextStanding:
    """The standing that follows the one ``before``. ``calls``: those that count, weighed by a
    gauge; ``named``: the same gauge with the numbers of a version."""
    return settled_against(
        before,
        calls(by).standing(by.policy),
        by.parameters,
        by.kept,
        lambda version: calls(named(version)).standing(by.policy),
    )

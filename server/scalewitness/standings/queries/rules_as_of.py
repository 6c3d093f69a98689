"""The rules that standings were stated by, as of any position: policies, numbers, records."""

from bisect import bisect_left
from collections.abc import Iterator, Sequence, Set
from itertools import takewhile
from typing import Any, NamedTuple
from uuid import UUID

import msgspec

from scalewitness.domain import facts
from scalewitness.domain.sexing.gauge import Gauge, Numbers, as_adopted
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import DEFAULT_POLICY, Policy, adopted
from scalewitness.domain.sexing.recomputing import Rules
from scalewitness.domain.sexing.records import EMPTY, ExaminerRecords, as_weighed
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of

RECORD = "examiner_record_changed"


class Rule(NamedTuple):
    """A rule, numbers or a finding of deceit, from a position of the log on."""

    position: int
    about: UUID
    body: Any


class Rests(NamedTuple):
    """``rules`` in the order of the log; ``records``: of each run of examiners' records in the log
    the first and the last position, as they are stated one after the other."""

    rules: Sequence[Rule] = ()
    records: Sequence[tuple[int, int]] = ()


class RulesAsOf(Rules):
    """As of a ``position`` that is set, now here and now there; what was made up is kept while some
    animals are looked at: whoever weighs by the same rules is handed the very same ones."""

    def __init__(self, rests: Rests) -> None:
        super().__init__()
        self.position = 0
        self._rests = rests
        self._made: dict[int, Policy | Numbers] = {}
        self._stated: dict[UUID, list[tuple[int, facts.ExaminerRecordChanged]]] = {}
        self._weighed: dict[tuple[object, ...], ExaminerRecords] = {}

    @property
    def deceivers(self) -> Set[str]:
        return {str(one.about) for one in self._before() if isinstance(one.body, facts.DeceitFound)}

    def measured_by(self, version: str, examiners: Set[str]) -> Gauge:
        policy, learned = DEFAULT_POLICY, None
        for rule in self._before():
            made = self._rule(rule)
            if isinstance(made, Policy):
                policy = made
            elif made is not None and rule.body.version == version:
                learned = made
        numbers = learned or Numbers(load_parameters(version))
        records = self._weighed_records(numbers, examiners)
        return Gauge(policy, numbers.parameters, records, numbers.kept)

    def _before(self) -> Iterator[Rule]:
        return takewhile(lambda one: one.position < self.position, self._rests.rules)

    def _rule(self, rule: Rule) -> Policy | Numbers | None:
        body = rule.body
        if rule.position not in self._made:
            if isinstance(body, facts.PolicyAdopted):
                self._made[rule.position] = adopted(body.version, body.thresholds)
            elif isinstance(body, facts.NumbersAdopted):
                made = as_adopted(body.version, body.kept, body.numbers)
                self._made[rule.position] = made
        return self._made.get(rule.position)

    def _weighed_records(self, numbers: Numbers, examiners: Set[str]) -> ExaminerRecords:
        at = bisect_left(self._rests.records, (self.position, 0)) - 1
        if at < 0:
            return EMPTY
        newest = min(self._rests.records[at][1], self.position - 1)
        ids = {UUID(one) for one in examiners}
        self._read(ids - self._stated.keys())
        known = {one: found for one in ids if (found := self._record(one)) is not None}
        places = frozenset((one, where) for one, (where, _) in known.items())
        key = (newest, places, numbers.parameters.name)
        if key not in self._weighed:
            records = {one: record for one, (_, record) in known.items()}
            self._weighed[key] = as_weighed(newest, records, numbers.parameters)
        return self._weighed[key]

    def _record(self, examiner: UUID) -> tuple[int, facts.ExaminerRecordChanged] | None:
        stated = self._stated[examiner]
        at = bisect_left(stated, self.position, key=lambda one: one[0]) - 1
        return stated[at] if at >= 0 else None

    def _read(self, examiners: Set[UUID]) -> None:
        self._stated |= {one: [] for one in examiners}
        rows = Entry.objects.filter(about__in=list(examiners), kind=RECORD) if examiners else ()
        for entry in sorted(rows, key=lambda one: one.position):
            body = msgspec.convert(leaf_of(entry).body, facts.ExaminerRecordChanged)
            if entry.about is not None:
                self._stated[entry.about].append((entry.position, body))

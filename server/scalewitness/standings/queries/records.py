"""Examiners' settled records: the ones in force, and what they would be if made up now."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from functools import lru_cache
from types import MappingProxyType
from uuid import UUID

import msgspec
from django.db.models import Exists, OuterRef, QuerySet

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.facts import ExaminerRecordChanged, SettledCounts
from scalewitness.domain.sexing.case import case_of
from scalewitness.domain.sexing.evidence import Evidence, Role, asks_for_confirmation
from scalewitness.domain.sexing.examiners.posterior import (
    Counts,
    Determination,
    Key,
    Proof,
    settle,
    settled,
)
from scalewitness.domain.sexing.labels import is_decisive
from scalewitness.domain.sexing.parameters import load_parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import EMPTY, Beta, ExaminerRecords, error_prior
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.ledger.queries.prepared import Prepared
from scalewitness.people.models import GrantAnimal
from scalewitness.standings.models import ExaminerRecord
from scalewitness.standings.queries.evidence import evidence_of, with_report

Records = Mapping[UUID, ExaminerRecordChanged]


def records_in_force(parameters: str, at: int | None = None) -> ExaminerRecords:
    """What standings weigh examiners by at log position ``at``, now when None."""
    found = NEWEST.ask() if at is None else _newest(at)
    return _in_force(found[0][0], parameters) if found else EMPTY


def _newest(at: int | None) -> "QuerySet[ExaminerRecord, tuple[UUID]]":
    return _rows(at).order_by("-position").values_list("pk")[:1]


NEWEST = Prepared(lambda: _newest(None))


@lru_cache(maxsize=32)
def _in_force(newest: UUID, parameters: str) -> ExaminerRecords:
    """Cached by the newest record's id: rows never change, so neither does the answer."""
    position = ExaminerRecord.objects.values_list("position", flat=True).get(pk=newest)
    return as_weighed(position, latest_records(position), parameters)


def latest_records(
    at: int | None = None, of: Collection[UUID] | None = None
) -> dict[UUID, ExaminerRecordChanged]:
    """Each examiner's latest record, or that ``of`` some, as the fact gave it."""
    rows = _rows(at) if of is None else _rows(at).filter(examiner__in=of)
    rows = rows.order_by("examiner", "-position").distinct("examiner")
    return {
        row.examiner: msgspec.convert(
            {"role": row.role, "counts": row.counts}, ExaminerRecordChanged
        )
        for row in rows
    }


def _rows(at: int | None) -> QuerySet[ExaminerRecord]:
    rows = ExaminerRecord.objects.all()
    return rows if at is None else rows.filter(position__lte=at)


def as_weighed(position: int, records: Records, parameters: str) -> ExaminerRecords:
    """The records as a standing reads them: each role's prior moved by settled counts.
    ``position``: the newest record's, which names the version."""
    numbers = load_parameters(parameters).base
    rates: dict[Key, Beta] = {}
    counts: dict[Key, tuple[int, int]] = {}
    for examiner, record in sorted(records.items()):
        for one in record.counts:
            wrong, right = error_prior(numbers, record.role, one.method)
            place = (str(examiner), one.method, one.sex)
            rates[place] = (wrong + one.wrong, right + one.right)
            counts[place] = (one.wrong, one.right)
    version = f"records-{position}"
    return ExaminerRecords(version, MappingProxyType(rates), MappingProxyType(counts))


# --- making them up -----------------------------------------------------------------------


def records_now(policy: Policy, parameters: str) -> dict[UUID, ExaminerRecordChanged]:
    """Every examiner's record from the calls that count now."""
    return _as_facts(settled(settled_calls(policy, parameters)), _roles())


def settled_calls(
    policy: Policy, parameters: str, animals: Collection[UUID] | None = None
) -> list[Determination]:
    """All counting calls, or those on ``animals``, in log order, their truth filled in from
    others' proofs."""
    calls = Call.objects.filter(withdrawal=None, set_aside=None).order_by("position")
    if animals is not None:
        calls = calls.filter(animal__in=animals)
    return settle(_determinations(calls), _proofs(calls, policy, parameters))


def _determinations(calls: QuerySet[Call]) -> list[Determination]:
    fields = calls.values_list("examiner", "method", "animal", "conclusion", "blind")
    return [
        msgspec.convert(
            {
                "examiner": str(examiner),
                "method": method,
                "animal": str(animal),
                "conclusion": conclusion,
                "blind": blind,
            },
            Determination,
        )
        for examiner, method, animal, conclusion, blind in fields.iterator()
    ]


def _proofs(calls: QuerySet[Call], policy: Policy, parameters: str) -> list[Proof]:
    """Decisive observations, weighed without anyone's record, so that no record feeds itself."""
    by_animal: defaultdict[UUID, list[Evidence]] = defaultdict(list)
    for call in with_report(calls.filter(method__in=list(policy.decisive))).iterator():
        seen = evidence_of(call)
        if settles(seen, parameters):
            by_animal[call.animal_id].append(seen)
    species = dict(Animal.objects.filter(pk__in=by_animal).values_list("pk", "species"))
    found: list[Proof] = []
    for animal, evidence in by_animal.items():
        found += _decisive(animal, species[animal], evidence, policy, parameters)
    return found


def settles(call: Evidence, parameters: str) -> bool:
    """Whether it may settle an animal at all: not on its sender's word alone, by numbers that
    ask for a confirmation."""
    return not asks_for_confirmation(parameters) or call.report in {"own", "confirmed"}


def _decisive(
    animal: UUID, species: str, evidence: list[Evidence], policy: Policy, parameters: str
) -> Iterable[Proof]:
    kind = taxon(species, parameters)
    case = case_of(evidence, kind, EMPTY, load_parameters(parameters))
    for weighed in case.base.weighed:
        sex = weighed.call.conclusion
        if sex != "undetermined" and is_decisive(weighed, policy):
            yield Proof(str(animal), weighed.call.examiner, sex)


def still_checked_blind(now: datetime) -> set[UUID]:
    """Examiners of animals that a guest is still to check blind.

    Their records wait: a count that moves meanwhile would tell that guest what somebody
    else found.
    """
    given = Call.objects.filter(
        animal=OuterRef("animal"), by=OuterRef("grant__to"), visit=OuterRef("grant")
    )
    blind = {"grant__blind": True, "grant__end": None, "grant__closes__gt": now}
    awaited = GrantAnimal.objects.filter(~Exists(given), **blind).values("animal")
    return set(Call.objects.filter(animal__in=awaited).values_list("examiner", flat=True))


def _roles() -> dict[str, Role]:
    """Each examiner's role, by their latest call."""
    rows = Call.objects.order_by("examiner", "-position").distinct("examiner")
    return {
        str(examiner): msgspec.convert(role, Role)
        for examiner, role in rows.values_list("examiner", "role")
    }


def _as_facts(
    counts: Mapping[Key, Counts], roles: Mapping[str, Role]
) -> dict[UUID, ExaminerRecordChanged]:
    by_examiner: defaultdict[str, list[SettledCounts]] = defaultdict(list)
    for (examiner, method, sex), found in sorted(counts.items()):
        if found.wrong or found.right:
            by_examiner[examiner].append(
                SettledCounts(method=method, sex=sex, wrong=found.wrong, right=found.right)
            )
    return {
        UUID(examiner): ExaminerRecordChanged(role=roles[examiner], counts=tuple(found))
        for examiner, found in by_examiner.items()
    }

"""What one keeper may know of an examiner: the logged record, and figures over what they see.

The logged record is one sum over all settled animals and tells of none by itself. Every
other figure is worked out over the animals the viewer may see whole now, so nobody learns
here what they could not read on an animal's own page.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

import msgspec
import numpy as np
from django.db.models import Max, QuerySet
from msgspec import Struct

from scalewitness.animals.models import Animal
from scalewitness.calls.models import ENDS, Call
from scalewitness.calls.queries.visibility import reader_of, still_blind, visible_animals
from scalewitness.domain.errors import NotFound
from scalewitness.domain.facts import CallMade, ExaminerRecordChanged
from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.examiners.drift import Drift, drift
from scalewitness.domain.sexing.examiners.harm import Examination, HarmRate, harm_rates
from scalewitness.domain.sexing.examiners.posterior import (
    Counts,
    Determination,
    ErrorRate,
    error_rate,
    settled,
)
from scalewitness.domain.sexing.examiners.provisional import (
    Provisional,
    ProvisionalRate,
    provisional_rates,
)
from scalewitness.domain.sexing.examiners.sprt import Decision, decide
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.qualification import LITTLE, PLAN, POOL, right_calls_needed
from scalewitness.domain.sexing.records import error_prior
from scalewitness.examiners.hatchlings import clutches_called
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.queries import names_of
from scalewitness.standings.models import ExaminerRecord
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.settling import settled_calls

SEED = 19790101
"""For the random starts and resamples of every shown figure. It is fixed so that two people
who open the same page, or one who opens it twice, read the same numbers; any other would
do as well."""

Place = tuple[Method, Sex]


class LoggedRecord(Struct, frozen=True):
    """The examiner's record in force: the fact's id and position, and what it counted.
    ``version`` is what standings weighed from there on name."""

    id: UUID
    position: int
    version: str
    role: Role
    rates: Mapping[Place, ErrorRate]


class Rate(Struct, frozen=True):
    """All there is about one method and true sex. ``seen`` counts settled animals among
    those the viewer sees whole, and ``behind`` are those that were called blind; ``provisional`` is
    there where little is settled."""

    method: Method
    sex: Sex
    logged: ErrorRate | None
    seen: Counts
    provisional: ProvisionalRate | None
    behind: tuple[UUID, ...] = ()


class Qualification(Struct, frozen=True):
    """The sequential test over the logged calls by one method, both sexes together.
    ``needed``: how many more, all right, would qualify."""

    method: Method
    wrong: int
    calls: int
    decision: Decision
    needed: int


class ExaminerKnown(Struct, frozen=True):
    """One examiner as one viewer may know them. ``withheld``: the logged record is not
    shown while the viewer has animals to check blind. ``animals``: with a call of theirs,
    among those the viewer sees whole. ``as_of`` is the last log position there was."""

    id: UUID
    name: str
    own: bool
    record: LoggedRecord | None
    withheld: bool
    role: Role
    rates: tuple[Rate, ...]
    qualifications: tuple[Qualification, ...]
    animals: int
    drift: Drift | None
    harm: Mapping[Method, HarmRate]
    provisional: Provisional | None
    as_of: int
    numbers: Parameters
    policy: str


def reproducible() -> np.random.Generator:
    """The generator that shown figures are made with."""
    return np.random.default_rng(SEED)


def examiner_seen(
    viewer: UUID, examiner: UUID, now: datetime, generator: np.random.Generator
) -> ExaminerKnown:
    """The examiner as the viewer may know them.

    Raises:
        NotFound: it is someone else, without a call on any animal the viewer sees whole;
            what they see blind makes no difference.
    """
    whole = visible_animals(viewer, now).filter(sight="all")
    calls = _calls_of(examiner, whole)
    if viewer != examiner and not calls:
        raise NotFound()
    rule = yardstick()
    withheld = withheld_from(viewer, examiner, now)
    record = None if withheld else _logged(examiner, rule.numbers)
    seen = {call.animal_id for call in calls}
    pool = settled_calls(rule.policy, rule.numbers, seen | _pool(whole))
    counts = _counts(pool, examiner)
    pooled = _pooled(record, counts, calls, pool, rule.numbers, generator)
    return ExaminerKnown(
        id=examiner,
        name=names_of([examiner]).get(examiner, "unknown"),
        own=viewer == examiner,
        record=record,
        withheld=withheld,
        role=record.role if record else _last_role(calls),
        rates=_rates(examiner, record, counts, pooled, _behind(pool, examiner)),
        qualifications=_qualifications(record),
        animals=len(seen),
        drift=drift(clutches_called(calls)),
        harm=_harm(calls, rule.policy),
        provisional=pooled,
        as_of=tip().size - 1,
        numbers=rule.numbers,
        policy=rule.policy.version,
    )


def _calls_of(examiner: UUID, whole: QuerySet[Animal]) -> list[Call]:
    """The examiner's calls on these animals in log order, withdrawn ones too, each check
    once."""
    calls = Call.objects.filter(examiner=examiner, animal__in=whole.order_by().values("pk"))
    return list(calls.filter(refiled=None).select_related("animal", *ENDS).order_by("position"))


def withheld_from(viewer: UUID, examiner: UUID, now: datetime) -> bool:
    """Whether the logged sums could tell the viewer of an animal whose blind check is awaited:
    they move when it settles. One's own only by an animal one called before. The answer
    depends on nothing the viewer does not know."""
    return tells_of(still_blind(reader_of(viewer, now)), viewer, examiner)


def tells_of(blind: Collection[UUID], viewer: UUID, examiner: UUID) -> bool:
    """Whether the examiner's sums could tell the viewer, who is ``blind`` to these, of one."""
    if viewer == examiner and blind:
        return Call.objects.filter(animal__in=blind, examiner=viewer).exists()
    return bool(blind)


# --- the logged record --------------------------------------------------------------------


def _logged(examiner: UUID, numbers: Parameters) -> LoggedRecord | None:
    row = ExaminerRecord.objects.filter(examiner=examiner).order_by("-position").first()
    if row is None:
        return None
    record = msgspec.convert({"role": row.role, "counts": row.counts}, ExaminerRecordChanged)
    rates = {
        (one.method, one.sex): error_rate(
            (str(examiner), one.method, one.sex),
            Counts(wrong=one.wrong, right=one.right),
            error_prior(numbers.base, record.role, one.method, one.sex),
        )
        for one in record.counts
    }
    return LoggedRecord(row.pk, row.position, f"records-{row.position}", record.role, rates)


def _qualifications(record: LoggedRecord | None) -> tuple[Qualification, ...]:
    logged = record.rates if record else {}
    methods = sorted({method for method, _ in logged})
    return tuple(
        _qualification(method, [rate.counts for (by, _), rate in logged.items() if by == method])
        for method in methods
    )


def _qualification(method: Method, counts: Sequence[Counts]) -> Qualification:
    """From the counts alone: the record does not keep the order of its calls."""
    wrong = sum(one.wrong for one in counts)
    calls = wrong + sum(one.right for one in counts)
    needed = right_calls_needed(PLAN, wrong, calls)
    return Qualification(method, wrong, calls, decide(PLAN, wrong, calls), needed)


# --- over what the viewer sees whole ------------------------------------------------------


def _pool(whole: QuerySet[Animal]) -> set[UUID]:
    """The animals called last, as many as are pooled at most."""
    called = Call.objects.filter(animal__in=whole.order_by().values("pk"))
    last = called.values("animal").annotate(last=Max("position")).order_by("-last")
    return set(last.values_list("animal", flat=True)[:POOL])


def _counts(pool: Iterable[Determination], examiner: UUID) -> dict[Place, Counts]:
    own = [call for call in pool if call.examiner == str(examiner)]
    return {(method, sex): counts for (_, method, sex), counts in settled(own).items()}


def _behind(pool: Iterable[Determination], examiner: UUID) -> dict[Place, list[UUID]]:
    """The settled animals that they called blind."""
    found: dict[Place, dict[UUID, None]] = {}
    for call in pool:
        concluded = call.conclusion != "undetermined"
        if call.examiner == str(examiner) and call.truth and call.blind and concluded:
            found.setdefault((call.method, call.truth), {})[UUID(call.animal)] = None
    return {place: list(animals) for place, animals in found.items()}


def _pooled(
    record: LoggedRecord | None,
    counts: Mapping[Place, Counts],
    calls: Iterable[Call],
    pool: Sequence[Determination],
    numbers: Parameters,
    generator: np.random.Generator,
) -> Provisional | None:
    """The pooled estimate, where any method of theirs has little settled."""
    methods = {msgspec.convert(call.method, Method) for call in calls if call.blind}
    places: list[Place] = [(method, sex) for method in methods for sex in ("male", "female")]
    if not any(_little(place, record, counts) for place in places):
        return None
    roles = _roles({UUID(call.animal) for call in pool})
    return provisional_rates(pool, roles.__getitem__, numbers.base, generator)


def _little(place: Place, record: LoggedRecord | None, counts: Mapping[Place, Counts]) -> bool:
    logged = record.rates.get(place) if record else None
    known = logged.counts if logged else counts.get(place, Counts())
    return known.wrong + known.right < LITTLE


def _roles(animals: Iterable[UUID]) -> dict[str, Role]:
    """Each examiner's role by their latest call on these animals."""
    rows = Call.objects.filter(animal__in=list(animals)).order_by("examiner", "-position")
    latest = rows.distinct("examiner").values_list("examiner", "role")
    return {str(examiner): msgspec.convert(role, Role) for examiner, role in latest}


def _rates(
    examiner: UUID,
    record: LoggedRecord | None,
    counts: Mapping[Place, Counts],
    pooled: Provisional | None,
    behind: Mapping[Place, list[UUID]],
) -> tuple[Rate, ...]:
    logged = record.rates if record else {}
    estimates = {
        (rate.method, rate.sex): rate
        for rate in (pooled.rates if pooled else ())
        if rate.examiner == str(examiner) and _little((rate.method, rate.sex), record, counts)
    }
    places = sorted({*logged, *counts, *estimates})
    return tuple(
        Rate(
            *one,
            logged.get(one),
            counts.get(one, Counts()),
            estimates.get(one),
            tuple(behind.get(one, ())),
        )
        for one in places
    )


def _harm(calls: Iterable[Call], policy: Policy) -> dict[Method, HarmRate]:
    """Withdrawn calls count here: the animal was handled all the same."""
    handled = [
        Examination(
            str(call.examiner),
            msgspec.convert(call.method, Method),
            msgspec.convert(call.body, CallMade).harm,
        )
        for call in calls
        if call.method not in policy.excluded
    ]
    return {method: rate for (_, method), rate in harm_rates(handled).items()}


def _last_role(calls: Sequence[Call]) -> Role:
    return msgspec.convert(calls[-1].role, Role) if calls else "keeper"

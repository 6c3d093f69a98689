"""Plans and suppositions as shown, each number with where it comes from."""

from collections.abc import Iterable
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.observations import Observation
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.parameters import Parameter
from scalewitness.domain.sexing.planning import Check, RuledOut
from scalewitness.domain.sexing.standing import Assessment, CallWeight
from scalewitness.domain.sexing.what_if import WhatIf
from scalewitness.planning.available import ANYBODY, Examiners
from scalewitness.planning.plans import NotToday, PlannedAnimal, PlannedVisit, planning_numbers
from scalewitness.standings.queries.assessing import Yardstick


class ExaminerAvailable(Struct, frozen=True):
    """``key`` goes into ``by``; ``id`` None: not a keeper yet known here."""

    key: str
    id: UUID | None
    name: str
    role: words.Role


class CheckPlanned(Struct, frozen=True):
    """One check worth making. ``loss_now`` and ``loss_after`` are chances of a wrong
    decision, now and as expected; ``verified``: the chance that the sex is verified
    afterwards; ``benefit``: all of it, by stake and less ``burden``."""

    animal: UUID
    method: words.Method
    examiner: ExaminerAvailable
    blind: bool
    minutes: float
    benefit: float
    loss_now: float
    loss_after: float
    verified: float
    burden: float
    stake: float
    reasons: tuple[str, ...]


class CheckRuledOut(Struct, frozen=True):
    method: words.Method
    examiner: ExaminerAvailable
    why: tuple[str, ...]


class MeasuredBy(Struct, frozen=True):
    """Versions of the model's numbers, of the rule for labels and of the examiners' records,
    and every number that planning adds to them, with source and status."""

    parameters: str
    policy: str
    examiner_records: str
    planning: tuple[Parameter, ...]


class AnimalPlan(Struct, frozen=True):
    """The checks worth making, the best first, and all others with why not."""

    animal: UUID
    cautions: tuple[str, ...]
    checks: list[CheckPlanned]
    ruled_out: list[CheckRuledOut]
    measured_by: MeasuredBy


class AnimalWaiting(Struct, frozen=True):
    animal: UUID
    why: tuple[str, ...]


class Weighed(Struct, frozen=True):
    """How many animals were weighed, ``of`` all in the collection, on which page of how many."""

    animals: int
    of: int
    page: int
    pages: int


class VisitPlan(Struct, frozen=True):
    """At most one check for each animal, by benefit per minute. ``left_out``: no time;
    ``waiting``: not today; ``no_need``: nothing is worth doing."""

    collection: UUID
    minutes: float
    budget: float
    cautions: tuple[str, ...]
    lines: list[CheckPlanned]
    left_out: list[UUID]
    waiting: list[AnimalWaiting]
    no_need: list[UUID]
    weighed: Weighed
    examiners: list[ExaminerAvailable]
    measured_by: MeasuredBy


class StandingSupposed(Struct, frozen=True):
    label: words.Label
    p_male: float
    p_male_pessimistic: float
    reasons: tuple[str, ...]
    used: tuple[Parameter, ...]


class CallSupposed(Struct, frozen=True):
    method: words.Method
    conclusion: words.Conclusion
    role: words.Role
    blind: bool
    sureness: str
    observed: Observation
    weight: CallWeight


class Supposed(Struct, frozen=True):
    """What the standing would be after one more call. Nothing was recorded."""

    animal: UUID
    before: StandingSupposed
    after: StandingSupposed
    call: CallSupposed
    text: str
    lines: tuple[ReasonLine, ...]
    parameters: str
    policy: str
    examiner_records: str


def animal_plan(animal: UUID, found: PlannedAnimal) -> AnimalPlan:
    who = _examiners(found.examiners)
    return AnimalPlan(
        animal=animal,
        cautions=BEFORE_A_CHECK,
        checks=[_check(one, who) for one in found.plan.checks],
        ruled_out=[_ruled_out(one, who) for one in found.plan.ruled_out],
        measured_by=_measured_by(found.measured_by),
    )


def visit_plan(collection: UUID, found: PlannedVisit, weighed: Weighed) -> VisitPlan:
    sheet, who = found.sheet, _examiners(found.examiners)
    return VisitPlan(
        collection=collection,
        minutes=sheet.minutes,
        budget=sheet.budget,
        cautions=BEFORE_A_CHECK,
        lines=[_check(line, who) for line in sheet.lines],
        left_out=_ids(sheet.left_out),
        waiting=[_waiting(one) for one in found.waiting],
        no_need=_ids(sheet.no_need),
        weighed=weighed,
        examiners=list(who.values()),
        measured_by=_measured_by(found.measured_by),
    )


def supposed(animal: UUID, found: WhatIf) -> Supposed:
    call, after = found.call, found.after
    return Supposed(
        animal=animal,
        before=_standing(found.before),
        after=_standing(after),
        call=CallSupposed(
            method=call.method,
            conclusion=call.conclusion,
            role=call.role,
            blind=call.blind,
            sureness=call.sureness,
            observed=call.observed,
            weight=found.weight,
        ),
        text=found.text,
        lines=found.lines,
        parameters=after.parameters,
        policy=after.policy,
        examiner_records=after.records,
    )


Who = dict[str, ExaminerAvailable]


def _examiners(found: Examiners) -> Who:
    return {
        one.examiner: ExaminerAvailable(
            key=one.examiner,
            id=None if one.examiner in ANYBODY else UUID(one.examiner),
            name=found.names[one.examiner],
            role=one.role,
        )
        for one in found.available
    }


def _check(one: Check, who: Who) -> CheckPlanned:
    return CheckPlanned(
        animal=UUID(one.animal),
        method=one.method,
        examiner=who[one.examiner],
        blind=one.blind,
        minutes=one.minutes,
        benefit=one.benefit,
        loss_now=one.loss_now,
        loss_after=one.loss_after,
        verified=one.verified,
        burden=one.burden,
        stake=one.stake,
        reasons=one.reasons,
    )


def _ruled_out(one: RuledOut, who: Who) -> CheckRuledOut:
    return CheckRuledOut(one.method, who[one.examiner], one.why)


def _waiting(one: NotToday) -> AnimalWaiting:
    return AnimalWaiting(UUID(one.animal), one.why)


def _ids(animals: Iterable[str]) -> list[UUID]:
    return [UUID(animal) for animal in animals]


def _measured_by(one: Yardstick) -> MeasuredBy:
    return MeasuredBy(one.parameters, one.policy.version, one.records.version, planning_numbers())


def _standing(found: Assessment) -> StandingSupposed:
    return StandingSupposed(
        found.label, found.p_male, found.p_male_pessimistic, found.reasons, found.used
    )

"""Plans and suppositions as shown, each number with where it comes from."""

from collections.abc import Iterable
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.domain.cautions import BEFORE_A_CHECK
from scalewitness.domain.observations import Observation
from scalewitness.domain.sexing.ahead import TwoChecks, in_words
from scalewitness.domain.sexing.explain import ReasonLine
from scalewitness.domain.sexing.parameters import Parameter
from scalewitness.domain.sexing.planning import SETUP, Check, RuledOut
from scalewitness.domain.sexing.standing import Assessment, CallWeight
from scalewitness.domain.sexing.what_if import WhatIf
from scalewitness.planning.available import ANYBODY, Examiners, Party
from scalewitness.planning.plans import NotToday, PlannedAnimal, PlannedVisit, planning_numbers
from scalewitness.standings.queries.assessing import Yardstick


class ExaminerAvailable(Struct, frozen=True):
    """``key`` goes into ``by``; ``id`` None: nobody yet known here. ``party``: whose check it is;
    ``expected``: comes when nobody says who does; ``confirms``: a practice whose answer
    counts of one of these animals, as the operator entered its address or keepers tied to nobody in
    it stated that the account is the practice's."""

    key: str
    id: UUID | None
    name: str
    role: words.Role
    party: Party
    expected: bool
    confirms: bool


class SecondCheck(Struct, frozen=True):
    """What a second check would bring, by another examiner and at least ``days`` later, whatever
    the first shows: the chances after both. ``another``: somebody else of the description of
    ``examiner``; ``blind``: neither knows an answer; ``text`` empty: it settles no more."""

    method: words.Method
    examiner: ExaminerAvailable
    days: float
    loss_after: float
    probable: float
    verified: float
    another: bool
    blind: bool
    text: str


class CheckPlanned(Struct, frozen=True):
    """One check worth making. ``minutes`` at the animal; ``loss_now`` and ``loss_after`` are
    chances of a wrong decision, now and as expected; ``probable``, ``verified``: the chances that
    a sex is at least probable, or verified, afterwards; ``benefit``: all of it, by stake and less
    ``burden`` and ``cost``, by itself or as the first of two, whichever is more; ``cost``: its
    price as a share of what a wrong sex costs; ``ahead`` null: not looked for."""

    animal: UUID
    method: words.Method
    examiner: ExaminerAvailable
    blind: bool
    minutes: float
    benefit: float
    loss_now: float
    loss_after: float
    probable: float
    verified: float
    burden: float
    cost: float
    stake: float
    settles: str
    ahead: SecondCheck | None
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
    """The checks worth making, the best first, and all others with why not. ``setup``: minutes it
    takes to get the animal out and back, beside each check's own."""

    animal: UUID
    setup: float
    cautions: tuple[str, ...]
    checks: list[CheckPlanned]
    ruled_out: list[CheckRuledOut]
    examiners: list[ExaminerAvailable]
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
    """At most one check for each animal, in the order of the racks. ``minutes`` are those of the
    lines and of ``setups``, which is what getting animals out and back takes: once for a clutch.
    ``left_out``: no time; ``waiting``: not today; ``no_need``: nothing is worth doing."""

    collection: UUID
    minutes: float
    setups: float
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


def animal_plan(animal: UUID, found: PlannedAnimal, everyone: Examiners) -> AnimalPlan:
    """``everyone``: who could come."""
    who = _examiners(everyone)
    return AnimalPlan(
        animal=animal,
        setup=SETUP,
        cautions=BEFORE_A_CHECK,
        checks=[
            _check(one, who, found.ahead.get((one.method, one.examiner)))
            for one in found.plan.checks
        ],
        ruled_out=[_ruled_out(one, who) for one in found.plan.ruled_out],
        examiners=list(who.values()),
        measured_by=_measured_by(found.measured_by),
    )


def visit_plan(
    collection: UUID, found: PlannedVisit, everyone: Examiners, weighed: Weighed
) -> VisitPlan:
    """``everyone``: who could come."""
    sheet, who = found.sheet, _examiners(everyone)
    return VisitPlan(
        collection=collection,
        minutes=sheet.minutes,
        setups=sheet.setups,
        budget=sheet.budget,
        cautions=BEFORE_A_CHECK,
        lines=[_check(line, who, sheet.ahead.get(line.animal)) for line in sheet.lines],
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
    expected = set(found.expected)
    return {
        one.examiner: ExaminerAvailable(
            key=one.examiner,
            id=None if one.examiner in ANYBODY else UUID(one.examiner),
            name=found.names[one.examiner],
            role=one.role,
            party=found.parties[one.examiner],
            expected=one.examiner in expected,
            confirms=bool(one.confirms),
        )
        for one in found.available
    }


def _check(one: Check, who: Who, two: TwoChecks | None) -> CheckPlanned:
    return CheckPlanned(
        animal=UUID(one.animal),
        method=one.method,
        examiner=who[one.examiner],
        blind=one.blind,
        minutes=one.minutes,
        benefit=one.benefit,
        loss_now=one.loss_now,
        loss_after=one.loss_after,
        probable=one.probable,
        verified=one.verified,
        burden=one.burden,
        cost=one.cost,
        stake=one.stake,
        settles=one.settles,
        ahead=None if two is None else _second(one, two, who),
        reasons=one.reasons,
    )


def _second(check: Check, two: TwoChecks, who: Who) -> SecondCheck:
    examiner = who[two.second_examiner]
    return SecondCheck(
        method=two.second,
        examiner=examiner,
        days=two.days,
        loss_after=two.loss_after,
        probable=two.probable,
        verified=two.verified,
        another=two.another,
        blind=two.blind,
        text=in_words(check, two, examiner.name),
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

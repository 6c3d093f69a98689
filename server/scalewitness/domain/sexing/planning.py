"""The next best check: what it would take off the chance of a wrong decision.

Acting on the favoured sex is wrong with the chance of the other; not acting counts as wrong
with the chance at which the policy falls silent (one in ten under the default policy), and
the lesser of the two is what an animal's record costs. Over everything a check may show
(:mod:`weighing`) that loss and the label are averaged:

benefit = stake · (loss now − expected loss + worth of a verified sex · rise in its chance)
          − burden on the animal − cost of the check.

The words say what is on record, so they are for the host, never for a blind guest.
"""

from collections.abc import Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.feasible import (
    PLANNED,
    Available,
    Candidate,
    obstacles,
    planning_number,
)
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.reasons import CheckProspects, reasons, settles
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.weighing import Weighing

SETUP = planning_number("minutes", "setup")
"""Minutes it takes to get an animal or a clutch out and back."""


class Check(Struct, frozen=True):
    """One check worth making. ``loss_now`` and ``loss_after`` are chances of a wrong
    decision, the second as expected; ``probable`` and ``verified`` are the chances that a sex is
    at least probable, or verified, afterwards; ``benefit`` is all of it, by stake and less
    ``burden`` and ``cost``; ``minutes`` at the animal, once it is out; ``settles`` in words."""

    animal: str
    method: Method
    examiner: str
    role: Role
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
    reasons: tuple[str, ...] = ()


class RuledOut(Struct, frozen=True):
    """A check that is not proposed, and why, in words."""

    animal: str
    method: Method
    examiner: str
    why: tuple[str, ...]


class Plan(Struct, frozen=True):
    """Every check of one animal that is worth making, the best first, and the others."""

    checks: tuple[Check, ...]
    ruled_out: tuple[RuledOut, ...]


def plan(
    candidate: Candidate,
    examiners: Sequence[Available],
    at: int,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
) -> Plan:
    """What is worth doing with one animal at a time (Unix milliseconds), each check by itself.
    Of checks that are worth as much, those by whoever is named first come first. Raises
    ValueError as :func:`case_of`."""
    weighing = Weighing.of(candidate, at, records, policy, parameters)
    return worth_making(every_check(weighing, examiners))


def every_check(weighing: Weighing, examiners: Iterable[Available]) -> Plan:
    """All that can be made and say something, however little, and what cannot."""
    candidate, checks, ruled_out = weighing.candidate, [], []
    known: dict[object, Check | None] = {}
    for by in examiners:
        for method in PLANNED:
            why = obstacles(candidate, method, by, weighing.at)
            check = None if why else _as_before(known, weighing, method, by)
            if check is not None:
                checks.append(check)
            else:
                why = why or (_NOT_WORTH_IT,)
                ruled_out.append(RuledOut(candidate.animal, method, by.examiner, why))
    return Plan(best_first(checks), tuple(ruled_out))


def worth_making(every: Plan) -> Plan:
    """Without the checks that bring less than they burden and cost."""
    least = planning_number("worth", "least")
    little = [one for one in every.checks if one.benefit < least]
    return Plan(
        tuple(one for one in every.checks if one.benefit >= least),
        (
            *every.ruled_out,
            *(RuledOut(one.animal, one.method, one.examiner, (_NOT_WORTH_IT,)) for one in little),
        ),
    )


def best_first(checks: Iterable[Check]) -> tuple[Check, ...]:
    """By benefit; of checks worth as much the shorter, then as they come."""
    return tuple(sorted(checks, key=lambda one: (-round(one.benefit, 9), one.minutes, one.method)))


_NOT_WORTH_IT = "It would change too little to be worth the burden on the animal and what it costs."


def _as_before(
    known: dict[object, Check | None], weighing: Weighing, method: Method, by: Available
) -> Check | None:
    """What this check would bring; worked out once for examiners who differ in name alone."""
    kind = method, kind_of(weighing, by)
    if kind not in known:
        known[kind] = _check(weighing, method, by)
    found = known[kind]
    return None if found is None else replace(found, examiner=by.examiner)


def kind_of(weighing: Weighing, by: Available) -> Available:
    """The examiner without a name, unless something on record hangs on it."""
    animal, records = weighing.candidate.animal, weighing.case.base.weigher.records
    with_record = any(examiner == by.examiner for examiner, _, _ in records.rates)
    own = any(call.examiner == by.examiner for call in weighing.case.calls)
    return replace(
        by,
        examiner=by.examiner if with_record or own else "",
        knows=by.knows & {animal},
        interested_in=by.interested_in & {animal},
        anyone=False,
    )


def _check(weighing: Weighing, method: Method, by: Available) -> Check | None:
    """None when it can say nothing here."""
    candidate, branches = weighing.candidate, weighing.follow(method, by)
    if len(branches) == 1:
        return None
    now, after = weighing.outlook([(1.0, weighing.case)]), weighing.outlook(branches)
    stake, burden = stake_of(candidate), burden_of(method, candidate)
    worth = now.loss - after.loss
    worth += planning_number("worth", "verified") * (after.verified - now.verified)
    prospects = CheckProspects(now=weighing.now, before=now, after=after, weighing=weighing)
    return Check(
        animal=candidate.animal,
        method=method,
        examiner=by.examiner,
        role=by.role,
        blind=weighing.blind(by),
        minutes=planning_number("minutes", method),
        benefit=stake * worth - burden - by.cost,
        loss_now=now.loss,
        loss_after=after.loss,
        probable=after.probable,
        verified=after.verified,
        burden=burden,
        cost=by.cost,
        stake=stake,
        settles=settles(prospects),
        reasons=reasons(prospects, method, by),
    )


def stake_of(candidate: Candidate) -> float:
    """By how much what hangs on the animal multiplies a wrong decision."""
    least = planning_number("stakes", "none")
    season = least + planning_number("season", "whole") * candidate.hanging
    return max(season, *(planning_number("stakes", stake) for stake in candidate.stakes), least)


def burden_of(method: Method, candidate: Candidate) -> float:
    """Of one more such check on the animal, after all it has been through."""
    earlier = len(candidate.invasive())
    return planning_number("burden", method) * (1 + planning_number("burden", "again") * earlier)

"""The standing: what the record, taken whole, says of an animal's sex.

A pure function of the calls that count, the taxon, the examiners' records, the policy
and the parameters. Nothing here knows the time, and no answer depends on the order in
which the calls are passed.
"""

from collections.abc import Sequence
from math import log

from msgspec import Struct

from scalewitness.domain.facts import Label
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.case import SUREST, Case, Side, case_of
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.findings import Code
from scalewitness.domain.sexing.labels import View
from scalewitness.domain.sexing.likelihood import Pair
from scalewitness.domain.sexing.parameters import Parameter, Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.used import RecordUsed, parameters_used, records_used
from scalewitness.domain.sexing.weighed import Session, WeighedCall
from scalewitness.domain.sexing.words import reason_in_words

__all__ = ["SUREST", "Assessment", "CallWeight", "SessionWeight", "account", "assess"]


class CallWeight(Struct, frozen=True):
    """What one call brings, in log order. ``log10_lr`` is what it says alone, all errors
    in it; positive for male. ``p_male_without`` is the answer without it. ``passes`` are
    log chances (male, female) of each pass; ``epsilon`` and ``alpha`` as (if male, if
    female); ``session`` counts the sessions from 0, None for a call that says nothing."""

    call: str
    examiner: str
    log10_lr: float
    p_male_without: float
    kappa: float
    epsilon: Pair
    alpha: Pair
    doubt: float
    passes: tuple[Pair, ...]
    session: int | None
    code: Code
    reason: str


class SessionWeight(Struct, frozen=True):
    """One examiner, one occasion: ``log10_lr`` is what it says alone, positive for male;
    ``position`` and ``at`` those of its first call in the log."""

    examiner: str
    role: Role
    calls: tuple[str, ...]
    log10_lr: float
    at: int
    position: int


class Assessment(Struct, frozen=True):
    """A standing with everything it rests on. ``reasons`` are stable codes that say why
    the sex is verified or what keeps it from being so; ``settled`` are the examiners' own
    records that entered."""

    label: Label
    p_male: float
    p_male_pessimistic: float
    favoured: Sex | None
    decisive: bool
    weights: tuple[CallWeight, ...]
    sessions: tuple[SessionWeight, ...]
    reasons: tuple[str, ...]
    parameters: str
    policy: str
    records: str
    used: tuple[Parameter, ...]
    settled: tuple[RecordUsed, ...]


def assess(
    evidence: Sequence[Evidence],
    taxon: Taxon,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
    prior_male: float = 0.5,
    prior_pessimistic: float | None = None,
) -> Assessment:
    """The standing after these calls. ``prior_male`` differs from ½ only for a sex-linked
    trait with known parents; the pessimistic set starts from the same unless given its own.
    Raises ValueError for a prior outside (0, 1) or a call given twice."""
    case = case_of(evidence, taxon, records, parameters, prior_male, prior_pessimistic)
    return account(case, policy)


def account(case: Case, policy: Policy) -> Assessment:
    """The standing of a case with what each call brings."""
    found, view = case.standing(policy), case.view(len(case.calls))
    base = case.base.weigher
    return Assessment(
        label=found.label,
        p_male=found.p_male,
        p_male_pessimistic=found.p_male_pessimistic,
        favoured=found.favoured,
        decisive=found.decisive,
        weights=_weights(case, view),
        sessions=tuple(map(_session_weight, view.sessions)),
        reasons=found.reasons,
        parameters=base.parameters.name,
        policy=policy.version,
        records=base.records.version,
        used=parameters_used(
            case.base.weighed, case.pessimistic.weighed, base.taxon, base.parameters, policy
        ),
        settled=records_used(case.base.weighed, base.records),
    )


def _weights(case: Case, view: View) -> tuple[CallWeight, ...]:
    """One weight per call, in log order."""
    place = {w.call.call: n for n, session in enumerate(view.sessions) for w in session.calls}
    return tuple(_weight(weighed, case.base, view, place) for weighed in case.base.weighed)


def _weight(weighed: WeighedCall, side: Side, view: View, place: dict[str, int]) -> CallWeight:
    call, found = weighed.call, weighed.reading
    alone = _alone(weighed, side) if found.informative else 0.0
    return CallWeight(
        call=call.call,
        examiner=call.examiner,
        log10_lr=alone,
        p_male_without=side.without(weighed) if found.informative else view.p_male,
        kappa=weighed.kappa,
        epsilon=weighed.epsilon,
        alpha=weighed.alpha,
        doubt=weighed.doubt,
        passes=found.passes,
        session=place.get(call.call),
        code=found.code,
        reason=reason_in_words(weighed, alone),
    )


def _alone(weighed: WeighedCall, side: Side) -> float:
    return side.weigher.session((weighed,)).log_ratio / log(10)


def _session_weight(session: Session) -> SessionWeight:
    first = session.calls[0].call
    return SessionWeight(
        first.examiner,
        first.role,
        tuple(weighed.call.call for weighed in session.calls),
        session.log_ratio / log(10),
        first.at,
        first.position,
    )

"""The standing: what the record, taken whole, says of an animal's sex.

A pure function of the calls that count, the taxon, the examiners' records, the policy
and the parameters. Nothing here knows the time, and no answer depends on the order in
which the calls are passed.
"""

from collections.abc import Callable, Sequence
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from math import log

from msgspec import Struct

from scalewitness.domain.facts import Label
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.findings import Code
from scalewitness.domain.sexing.labels import View, settle
from scalewitness.domain.sexing.likelihood import Pair, combine
from scalewitness.domain.sexing.parameters import Parameter, Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.sessions import (
    Session,
    Weighed,
    Weigher,
    log_likelihoods,
)
from scalewitness.domain.sexing.taxa import Taxon
from scalewitness.domain.sexing.used import parameters_used
from scalewitness.domain.sexing.words import reason_in_words

SUREST = 1e-9
"""No record makes a sex more certain than this short of certainty (our judgement)."""

_STEP = Decimal("0.000001")


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
    the sex is verified or what keeps it from being so."""

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


def assess(
    evidence: Sequence[Evidence],
    taxon: Taxon,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
    prior_male: float = 0.5,
) -> Assessment:
    """The standing after these calls. ``prior_male`` differs from ½ only for a sex-linked
    trait with known parents. Raises ValueError for a prior outside (0, 1) or a call given
    twice."""
    _check(evidence, prior_male)
    case = _Case(evidence, taxon, records, parameters, prior_male)
    count = len(case.calls)
    view, outcome = case.view(count), settle(case.view, count, policy)
    return Assessment(
        label=outcome.label,
        p_male=view.p_male,
        p_male_pessimistic=view.p_male_pessimistic,
        favoured=outcome.favoured,
        decisive=outcome.decisive,
        weights=case.weights(view),
        sessions=tuple(map(_session_weight, view.sessions)),
        reasons=outcome.reasons,
        parameters=parameters.version,
        policy=policy.version,
        records=records.version,
        used=parameters_used(case.base, case.pessimistic, taxon, parameters, policy),
    )


def share(p: float) -> str:
    """A probability as the log keeps it: six decimals, half to even, never 0 or 1.
    Raises ValueError outside [0, 1]."""
    if not 0 <= p <= 1:
        raise ValueError(f"{p} is no probability")
    rounded = Decimal(repr(p)).quantize(_STEP, ROUND_HALF_EVEN)
    return str(min(max(rounded, _STEP), 1 - _STEP))


class _Case:
    """The calls of one animal in log order, weighed once under both sets."""

    def __init__(
        self,
        evidence: Sequence[Evidence],
        taxon: Taxon,
        records: ExaminerRecords,
        parameters: Parameters,
        prior_male: float,
    ) -> None:
        self.calls = sorted(evidence, key=lambda call: (call.position, call.call))
        self.prior_male = prior_male
        self.weigher = Weigher(taxon, records, parameters, parameters.base)
        self.doubter = Weigher(taxon, records, parameters, parameters.pessimistic)
        self.base = [self.weigher.weigh(call) for call in self.calls]
        self.pessimistic = [self.doubter.weigh(call) for call in self.calls]
        self.view: Callable[[int], View] = cache(self._view)

    def _view(self, count: int) -> View:
        sessions = self.weigher.sessions(self.base[:count])
        pessimistic = self.doubter.sessions(self.pessimistic[:count])
        newest = self.calls[count - 1].call if count else ""
        return View(self._p_male(sessions), self._p_male(pessimistic), sessions, newest)

    def weights(self, view: View) -> tuple[CallWeight, ...]:
        """One weight per call, in log order."""
        place = {w.call.call: n for n, session in enumerate(view.sessions) for w in session.calls}
        return tuple(self._weight(weighed, view, place) for weighed in self.base)

    def _weight(self, weighed: Weighed, view: View, place: dict[str, int]) -> CallWeight:
        call, found = weighed.call, weighed.reading
        alone = self._alone(weighed) if found.informative else 0.0
        return CallWeight(
            call=call.call,
            examiner=call.examiner,
            log10_lr=alone,
            p_male_without=self._without(weighed) if found.informative else view.p_male,
            kappa=weighed.kappa,
            epsilon=weighed.epsilon,
            alpha=weighed.alpha,
            doubt=weighed.doubt,
            passes=found.passes,
            session=place.get(call.call),
            code=found.code,
            reason=reason_in_words(weighed, alone),
        )

    def _without(self, left_out: Weighed) -> float:
        return self._p_male(self.weigher.sessions(w for w in self.base if w is not left_out))

    def _alone(self, weighed: Weighed) -> float:
        return self.weigher.session((weighed,)).log_ratio / log(10)

    def _p_male(self, sessions: Sequence[Session]) -> float:
        p = combine(log_likelihoods(sessions), self.prior_male)
        return min(max(p, SUREST), 1 - SUREST)


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


def _check(evidence: Sequence[Evidence], prior_male: float) -> None:
    if not 0 < prior_male < 1:
        raise ValueError(f"{prior_male} is no prior probability")
    if len({call.call for call in evidence}) != len(evidence):
        raise ValueError("a call is given twice")

"""What the standing would be after one more call. Nothing is recorded."""

from collections.abc import Callable, Sequence

from msgspec import Struct

from scalewitness.domain.consequences import sex_expected
from scalewitness.domain.observations import (
    Conclusion,
    LifeStage,
    Method,
    Observation,
    Sex,
    Sureness,
)
from scalewitness.domain.sexing.evidence import Evidence, Identity, Role, as_sent
from scalewitness.domain.sexing.explain import ReasonLine, explain
from scalewitness.domain.sexing.findings import typical
from scalewitness.domain.sexing.parameters import Parameters
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import ExaminerRecords
from scalewitness.domain.sexing.standing import Assessment, CallWeight, assess
from scalewitness.domain.sexing.stated_linkage import favoured_by
from scalewitness.domain.sexing.taxa import Taxon, as_learned
from scalewitness.domain.sexing.words import about, chance

SUPPOSED = "supposed"
"""Stands for the call, and for the examiner where none is named."""

_DAY = 86_400_000


class SupposedCall(Struct, frozen=True):
    """A call nobody has made. ``observed`` None: what the method usually shows with that
    conclusion. ``examiner`` names one who has a record or has called before; ``at`` is in
    Unix milliseconds, a day after the last call when None. ``blind``: the examiner knows no
    earlier answer; when ``reported`` by someone else, whose the interest then is, the call
    does not count as blind for all that, and is the sender's word until ``confirmed``."""

    method: Method
    conclusion: Conclusion
    role: Role
    blind: bool = True
    observed: Observation | None = None
    examiner: str = SUPPOSED
    sureness: Sureness = "certain"
    stage: LifeStage = "unknown"
    identity: Identity = "confirmed"
    interested: bool = False
    reported: bool = False
    confirmed: bool = False
    at: int | None = None


class WhatIf(Struct, frozen=True):
    """The standing as it is and as it would be; ``call`` is the call supposed, ``weight``
    what it would weigh."""

    before: Assessment
    after: Assessment
    call: Evidence
    weight: CallWeight
    text: str
    lines: tuple[ReasonLine, ...]


def what_if(
    evidence: Sequence[Evidence],
    supposed: SupposedCall,
    taxon: Taxon,
    records: ExaminerRecords,
    policy: Policy,
    parameters: Parameters,
    prior_male: float = 0.5,
    prior_pessimistic: float | None = None,
    keep: Callable[[Assessment, Sequence[Evidence]], Assessment] = lambda found, _: found,
) -> WhatIf:
    """The standing if this call were made now. ``keep``: with what older numbers keep. Raises
    ValueError as :func:`assess`, and NoSuchFinding for a conclusion the method cannot come to."""
    priors = prior_male, prior_pessimistic
    before = keep(assess(evidence, taxon, records, policy, parameters, *priors), evidence)
    call = _call(evidence, supposed, known(before.label, evidence, prior_male), taxon)
    record = (*evidence, call)
    after = keep(assess(record, taxon, records, policy, parameters, *priors), record)
    return WhatIf(
        before,
        after,
        call,
        after.weights[-1],
        _text(before, after),
        explain(after, record, as_learned(taxon, parameters.base)),
    )


def known(label: str, evidence: Sequence[Evidence], prior_male: float = 0.5) -> Sex | None:
    """The sex someone who can see the record would expect: the one the standing names,
    else that of the latest conclusive call, else the one the prior favours."""
    in_order = sorted(evidence, key=lambda one: one.position)
    latest_first = (call.conclusion for call in reversed(in_order))
    return sex_expected(label, latest_first) or favoured_by(prior_male)


def _call(
    evidence: Sequence[Evidence], supposed: SupposedCall, expected: Sex | None, taxon: Taxon
) -> Evidence:
    observed = supposed.observed
    if observed is None:
        observed = typical(supposed.method, supposed.conclusion, taxon)
    report = as_sent(supposed.method, reported=supposed.reported, interested=supposed.interested)
    last = max((call.at for call in evidence), default=0)
    return Evidence(
        call=SUPPOSED,
        examiner=supposed.examiner,
        role=supposed.role,
        at=last + _DAY if supposed.at is None else supposed.at,
        position=max((call.position for call in evidence), default=-1) + 1,
        stage=supposed.stage,
        conclusion=supposed.conclusion,
        sureness=supposed.sureness,
        observed=observed,
        identity=supposed.identity,
        blind=supposed.blind and not supposed.reported,
        interested=supposed.interested,
        anchored_to=None if supposed.blind else expected,
        report="confirmed" if report != "own" and supposed.confirmed else report,
    )


def _text(before: Assessment, after: Assessment) -> str:
    if after.label == before.label:
        opening = f"The label would stay {after.label}."
    else:
        opening = f"The label would change from {before.label} to {after.label}."
    if after.favoured is None:
        return f"{opening} Neither sex would be favoured."
    male = after.favoured == "male"
    was, now = (p if male else 1 - p for p in (before.p_male, after.p_male))
    return (
        f"{opening} Of animals with such a record {about(now)} would be "
        f"{after.favoured}{_was(was)}."
    )


def _was(share: float) -> str:
    return f"; now it is {chance(share)}" if share >= 0.5 else "; now the other sex is likelier"

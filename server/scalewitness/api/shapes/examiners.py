"""Examiners as shown, each figure with what it starts from."""

from typing import Annotated, get_args
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.examiner_numbers import numbers_behind
from scalewitness.domain.sexing.examiners.drift import Drift
from scalewitness.domain.sexing.examiners.harm import HarmRate
from scalewitness.domain.sexing.examiners.posterior import Counts, ErrorRate
from scalewitness.domain.sexing.examiners.provisional import Provisional
from scalewitness.domain.sexing.examiners.sprt import Decision
from scalewitness.domain.sexing.parameters import Parameter
from scalewitness.examiners.figures import SEED, ExaminerKnown, LoggedRecord, Qualification, Rate

SexWord = Annotated[str, words.one_of(*get_args(Sex))]
DecisionWord = Annotated[str, words.one_of(*get_args(Decision))]


class RecordNamed(Struct, frozen=True):
    """The fact that logged the record, and the version standings name that weigh by it."""

    id: UUID
    position: int
    version: str
    role: words.Role


class BetaShown(Struct, frozen=True):
    """Wrong and right calls as a Beta distribution's two numbers."""

    a: float
    b: float


class LoggedRate(Struct, frozen=True):
    """Share of wrong answers: blind calls on animals settled by others, added to the prior
    of the examiner's role, with the 95% interval."""

    wrong: int
    right: int
    prior: BetaShown
    posterior: BetaShown
    mean: float
    low: float
    high: float


class ProvisionalShown(Struct, frozen=True):
    """Estimated from how examiners' calls agree; ``animals`` is how many it rests
    on, by expectation. Never enters a standing."""

    provisional: bool
    rate: float
    animals: float


class RateShown(Struct, frozen=True):
    """One method and true sex. ``seen``: settled animals among those the asker sees whole;
    ``undetermined`` and ``knowing`` calls never enter a rate."""

    method: words.Method
    sex: SexWord
    logged: LoggedRate | None
    seen: Counts
    provisional: ProvisionalShown | None


class QualificationShown(Struct, frozen=True):
    """Wald's sequential test over the logged calls. ``needed``: how many more, all right,
    would qualify."""

    method: words.Method
    wrong: int
    calls: int
    decision: DecisionWord
    needed: int


class HarmShown(Struct, frozen=True):
    """Examinations with signs of harm, and the rate they speak for with its 95% interval."""

    method: words.Method
    harmed: int
    examined: int
    signs: dict[str, int]
    mean: float
    low: float
    high: float


class PooledShown(Struct, frozen=True):
    """The fit the provisional rates come from. ``converged``: further steps change nothing.
    ``differ``: other starts ended at other maxima; ``outdone``: one of them was higher and
    is the one shown. ``seed``: of the random starts, fixed so that the answer repeats."""

    animals: int
    males: float
    converged: bool
    differ: bool
    outdone: bool
    seed: int
    source: str


class ExaminerShown(Struct, frozen=True):
    """``withheld``: the logged record is not shown while the asker has animals to check
    blind. ``animals``: those with a call of theirs that the asker sees whole, as of log
    position ``as_of``. ``used``: the numbers all figures start from."""

    id: UUID
    name: str
    record: RecordNamed | None
    withheld: bool
    rates: list[RateShown]
    qualification: list[QualificationShown]
    animals: int
    drift: Drift | None
    harm: list[HarmShown]
    pooled: PooledShown | None
    as_of: int
    parameters: str
    policy: str
    used: tuple[Parameter, ...]


def examiner(known: ExaminerKnown) -> ExaminerShown:
    methods = sorted({rate.method for rate in known.rates})
    return ExaminerShown(
        id=known.id,
        name=known.name,
        record=_record(known.record) if known.record else None,
        withheld=known.withheld,
        rates=[_rate(rate) for rate in known.rates],
        qualification=[_qualification(one) for one in known.qualifications],
        animals=known.animals,
        drift=known.drift,
        harm=[_harm(method, rate) for method, rate in known.harm.items()],
        pooled=_pooled(known.provisional) if known.provisional else None,
        as_of=known.as_of,
        parameters=known.numbers.name,
        policy=known.policy,
        used=numbers_behind(known.role, methods, known.numbers.base),
    )


def _record(one: LoggedRecord) -> RecordNamed:
    return RecordNamed(one.id, one.position, one.version, one.role)


def _rate(one: Rate) -> RateShown:
    estimate = one.provisional
    return RateShown(
        method=one.method,
        sex=one.sex,
        logged=_logged(one.logged) if one.logged else None,
        seen=one.seen,
        provisional=(ProvisionalShown(True, estimate.rate, estimate.animals) if estimate else None),
    )


def _logged(rate: ErrorRate) -> LoggedRate:
    return LoggedRate(
        wrong=rate.counts.wrong,
        right=rate.counts.right,
        prior=BetaShown(*rate.prior),
        posterior=BetaShown(*rate.posterior),
        mean=rate.mean,
        low=rate.low,
        high=rate.high,
    )


def _qualification(one: Qualification) -> QualificationShown:
    return QualificationShown(one.method, one.wrong, one.calls, one.decision, one.needed)


def _harm(method: str, rate: HarmRate) -> HarmShown:
    return HarmShown(
        method=method,
        harmed=rate.harmed,
        examined=rate.examined,
        signs=dict(rate.signs),
        mean=rate.mean,
        low=rate.low,
        high=rate.high,
    )


def _pooled(fit: Provisional) -> PooledShown:
    return PooledShown(
        animals=fit.animals,
        males=fit.males,
        converged=fit.converged,
        differ=fit.differ,
        outdone=fit.outdone,
        seed=SEED,
        source="Dawid and Skene 1979",
    )

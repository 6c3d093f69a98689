"""An examiner's error rate, per method and true sex, from animals settled by others.

Only a call made blind counts for or against: agreeing with an answer one knew proves
nothing. An animal counts once per examiner and method, with the first call that concluded,
since the second look at the same animal is neither blind to the first nor a new trial
(our judgement; the model shares a misleading animal among all calls in the same way).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from types import MappingProxyType

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.observations import Conclusion, Method, Sex
from scalewitness.domain.sexing.examiners.beta import LEVEL, interval, updated
from scalewitness.domain.sexing.records import Beta, ExaminerRecords

Key = tuple[str, Method, Sex]
"""Examiner, method, true sex."""


class Proof(Struct, frozen=True):
    """Decisive evidence of an animal's sex, and whose call it was."""

    animal: str
    examiner: str
    sex: Sex


class Determination(Struct, frozen=True):
    """One call as the record of its examiner sees it. ``truth`` is the sex that the
    decisive evidence of others settled, None where nothing settles it; ``blind`` says that
    the examiner knew no earlier conclusion, their own included."""

    examiner: str
    method: Method
    animal: str
    conclusion: Conclusion
    truth: Sex | None = None
    blind: bool = True


class Counts(Struct, frozen=True):
    """Settled animals: ``wrong`` and ``right`` make the rate; ``undetermined`` and
    ``knowing`` (calls that were not blind) are shown beside it and never enter it."""

    wrong: int = 0
    right: int = 0
    undetermined: int = 0
    knowing: int = 0


class ErrorRate(Struct, frozen=True):
    """Posterior of one error rate: Beta(a, b), its mean and equal-tailed interval."""

    examiner: str
    method: Method
    sex: Sex
    counts: Counts
    prior: Beta
    posterior: Beta
    mean: float
    low: float
    high: float


def settle(calls: Iterable[Determination], proofs: Iterable[Proof]) -> list[Determination]:
    """The calls with their ``truth`` filled in, each from the proofs of other examiners."""
    by_animal: defaultdict[str, list[Proof]] = defaultdict(list)
    for proof in proofs:
        by_animal[proof.animal].append(proof)
    return [
        replace(call, truth=truth_without(call.examiner, by_animal[call.animal])) for call in calls
    ]


def truth_without(examiner: str, proofs: Sequence[Proof]) -> Sex | None:
    """The sex all decisive evidence of the others agrees on; None without such evidence
    or where it disagrees."""
    sexes = {proof.sex for proof in proofs if proof.examiner != examiner}
    return sexes.pop() if len(sexes) == 1 else None


def settled(calls: Iterable[Determination]) -> dict[Key, Counts]:
    """Counts per examiner, method and true sex. ``calls`` stand in log order."""
    animals: dict[tuple[Key, str], str] = {}
    for call in calls:
        if call.truth is not None:
            place = ((call.examiner, call.method, call.truth), call.animal)
            animals[place] = _stronger(animals.get(place), _kind(call, call.truth))
    numbers: defaultdict[Key, dict[str, int]] = defaultdict(lambda: dict.fromkeys(_KINDS, 0))
    for (key, _), kind in animals.items():
        numbers[key][kind] += 1
    return {key: Counts(**kinds) for key, kinds in numbers.items()}


def error_rate(key: Key, counts: Counts, prior: Beta, level: float = LEVEL) -> ErrorRate:
    """The posterior of one rate from the prior of the examiner's role."""
    posterior = updated(prior, counts.wrong, counts.right)
    low, high = interval(posterior, level)
    mean = posterior[0] / sum(posterior)
    return ErrorRate(*key, counts, prior, posterior, mean, low, high)


def records(version: str, rates: Iterable[ErrorRate]) -> ExaminerRecords:
    """The rates as a standing reads them, under the version it will name."""
    by_place = {(rate.examiner, rate.method, rate.sex): rate for rate in rates}
    posteriors = {place: rate.posterior for place, rate in by_place.items()}
    counts = {place: (rate.counts.wrong, rate.counts.right) for place, rate in by_place.items()}
    return ExaminerRecords(version, MappingProxyType(posteriors), MappingProxyType(counts))


_KINDS = ("knowing", "undetermined", "wrong", "right")
_CONCLUDED = frozenset({"wrong", "right"})


def _kind(call: Determination, truth: Sex) -> str:
    if not call.blind:
        return "knowing"
    if call.conclusion == "undetermined":
        return "undetermined"
    return "right" if call.conclusion == truth else "wrong"


def _stronger(known: str | None, new: str) -> str:
    """The first blind conclusion stays; short of one, undecided outranks knowing."""
    if known is None or (known not in _CONCLUDED and _KINDS.index(new) > _KINDS.index(known)):
        return new
    return known

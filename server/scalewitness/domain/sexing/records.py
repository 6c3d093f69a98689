"""How often an examiner is wrong: the prior of their role, moved by their own record."""

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from uuid import UUID

from msgspec import Struct, field

from scalewitness.domain.facts import ExaminerRecordChanged
from scalewitness.domain.observations import Method, Sex, Sureness
from scalewitness.domain.sexing.evidence import Evidence, Role
from scalewitness.domain.sexing.parameters import Parameters, ParameterSet
from scalewitness.domain.sexing.sizes import times

_Key = tuple[str, Method, Sex]
Beta = tuple[float, float]
"""Wrong and right calls, prior included: (a, b), mean a / (a + b)."""


class ExaminerRecords(Struct, frozen=True, eq=False):
    """Beta posterior of the error rate by (examiner, method, true sex).

    Each posterior starts from :func:`error_prior` of the examiner's role in the base set
    and adds the calls settled since: wrong ones to a, right ones to b. ``counts`` has these
    as (wrong, right), where known.
    """

    version: str = "none"
    rates: Mapping[tuple[str, Method, Sex], Beta] = field(default_factory=dict)
    counts: Mapping[tuple[str, Method, Sex], tuple[int, int]] = field(default_factory=dict)


EMPTY = ExaminerRecords("none", MappingProxyType({}))


@lru_cache(maxsize=512)
def error_prior(numbers: ParameterSet, role: Role, method: Method, sex: Sex) -> Beta:
    """The error rate of an examiner without a record, for one method and the animal's sex.

    The role's prior keeps its weight. Its mean is what was learned here; else it is scaled by
    how little the method leaves to misread, never lies below a published share of wrong
    answers, and is then divided between the sexes.
    """
    a, b = numbers.value(f"error.{role}.a"), numbers.value(f"error.{role}.b")
    learned = numbers.numbers.get(error_number(role, method, sex))
    if learned is not None:
        return learned.value * (a + b), (1 - learned.value) * (a + b)
    mean = a / (a + b) * numbers.get(f"error_share.{method}", 1.0)
    mean = max(mean, published_wrong(numbers, method))
    mean *= numbers.get(f"error_by_sex.{method}.{sex}", 1.0)
    return mean * (a + b), (1 - mean) * (a + b)


def error_number(role: Role, method: Method, sex: Sex) -> str:
    """The name under which that rate stands once it was learned here."""
    return f"error.{role}.{method}.{sex}"


def published_wrong(numbers: ParameterSet, method: Method) -> float:
    """Share of wrong answers among answers, from a published share of wrong *or*
    unresolved; 0 where the set names none."""
    either = numbers.get(f"wrong_or_unresolved.{method}", 0.0)
    unresolved = either * numbers.value("unresolved_share")
    return (either - unresolved) / (1 - unresolved)


def as_weighed(
    position: int, records: Mapping[UUID, ExaminerRecordChanged], numbers: Parameters
) -> ExaminerRecords:
    """The records as a standing reads them: each role's prior moved by settled counts.
    ``position``: the newest record's, which names the version."""
    rates: dict[_Key, Beta] = {}
    counts: dict[_Key, tuple[int, int]] = {}
    for examiner, record in sorted(records.items()):
        for one in record.counts:
            wrong, right = error_prior(numbers.base, record.role, one.method, one.sex)
            place = (str(examiner), one.method, one.sex)
            rates[place] = (wrong + one.wrong, right + one.right)
            counts[place] = (one.wrong, one.right)
    version = f"records-{position}"
    return ExaminerRecords(version, MappingProxyType(rates), MappingProxyType(counts))


def session_error(
    call: Evidence,
    numbers: ParameterSet,
    records: ExaminerRecords,
    parameters: Parameters,
    by_size: tuple[str, ...] = (),
) -> tuple[float, float]:
    """ε of this call's session, if the animal is male and if it is female; ``by_size`` names
    what bears on an animal of that size."""
    about = call.examiner, call.role, call.method, call.sureness
    return _session_error(*about, by_size, numbers, records, parameters)


@lru_cache(maxsize=1024)  # one person's calls come together, and mostly differ in none of these
def _session_error(
    examiner: str,
    role: Role,
    method: Method,
    sureness: Sureness,
    by_size: tuple[str, ...],
    numbers: ParameterSet,
    records: ExaminerRecords,
    parameters: Parameters,
) -> tuple[float, float]:
    often = times(by_size, numbers)

    def of(sex: Sex) -> float:
        prior = error_prior(numbers, role, method, sex)
        base = numbers is parameters.base
        start = prior if base else error_prior(parameters.base, role, method, sex)
        found = records.rates.get((examiner, method, sex))
        a, b = prior if found is None else _moved(found, start, prior)
        return _raised(often[sex == "female"] * a / (a + b), sureness, numbers)

    return of("male"), of("female")


def _moved(found: Beta, start: Beta, prior: Beta) -> Beta:
    """The record under another prior than the base set's, which it started from; never
    less than that prior, in case the record started from an older one."""
    if prior is start:
        return found
    return prior[0] + max(found[0] - start[0], 0.0), prior[1] + max(found[1] - start[1], 0.0)


def _raised(mean: float, sureness: Sureness, numbers: ParameterSet) -> float:
    return min(mean * numbers.value(f"sureness.{sureness}"), numbers.value("error.most"))

"""Which numbers entered an answer, each with its source and status."""

from collections.abc import Iterable, Sequence
from functools import lru_cache

from msgspec import Struct

from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.evidence import confirmed_doubt, shared_doubt
from scalewitness.domain.sexing.examiners.beta import interval
from scalewitness.domain.sexing.parameters import Parameter, Parameters, ParameterSet
from scalewitness.domain.sexing.policy import Policy
from scalewitness.domain.sexing.records import Beta, ExaminerRecords
from scalewitness.domain.sexing.sessions import BLIND_FOLLOWED
from scalewitness.domain.sexing.tails import measured
from scalewitness.domain.sexing.taxa import Taxon, range_parameters
from scalewitness.domain.sexing.weighed import WeighedCall

_OF_DEPTHS = frozenset(
    {"depths_read", "partly_too_deep", "too_deep", "conflict", "midway", "deep_in_other_sex"}
)


class RecordUsed(Struct, frozen=True):
    """An examiner's settled record that stood in for the prior of their role, for one method
    and true sex: ``wrong`` and ``right`` settled animals (None where not kept), the rate
    Beta(a, b) they make with that prior in the base set, its mean and 95% interval.
    ``version`` names the records in force; ``calls`` are those weighed by this one."""

    examiner: str
    method: Method
    sex: Sex
    version: str
    wrong: int | None
    right: int | None
    a: float
    b: float
    mean: float
    low: float
    high: float
    calls: tuple[str, ...]


def records_used(
    weighed: Iterable[WeighedCall], records: ExaminerRecords
) -> tuple[RecordUsed, ...]:
    """The records that entered what these calls weigh, by examiner, method and sex."""
    calls: dict[tuple[str, Method, Sex], list[str]] = {}
    for one in weighed:
        for sex in _SEXES:
            place = (one.call.examiner, one.method, sex)
            if one.reading.informative and place in records.rates:
                calls.setdefault(place, []).append(one.call.call)
    return tuple(_record_used(place, tuple(calls[place]), records) for place in sorted(calls))


_SEXES: tuple[Sex, ...] = ("male", "female")
_bounds = lru_cache(maxsize=1024)(interval)


def _record_used(
    place: tuple[str, Method, Sex], calls: tuple[str, ...], records: ExaminerRecords
) -> RecordUsed:
    rate: Beta = records.rates[place]
    wrong, right = records.counts.get(place, (None, None))
    mean = rate[0] / sum(rate)
    return RecordUsed(*place, records.version, wrong, right, *rate, mean, *_bounds(rate), calls)


def parameters_used(
    base: Sequence[WeighedCall],
    pessimistic: Sequence[WeighedCall],
    taxon: Taxon,
    parameters: Parameters,
    policy: Policy,
) -> tuple[Parameter, ...]:
    """Every parameter that entered, in both sets, the taxon's ranges and the policy's
    thresholds included, by set and name."""
    found = [*policy.numbers, *_of_taxon(taxon, {one.reading.code for one in base})]
    counted = {one for each in base for one in measured(each.call.observed)} - {"subcaudals"}
    for character in sorted(counted):
        found.extend(range_parameters(taxon, character))
    for weighed, numbers in ((base, parameters.base), (pessimistic, parameters.pessimistic)):
        for one in weighed:
            found.extend(entered(one, numbers))
    distinct = {(number.of, number.name): number for number in found}
    return tuple(distinct[key] for key in sorted(distinct))


def entered(weighed: WeighedCall, numbers: ParameterSet) -> Iterable[Parameter]:
    """The numbers of that set that entered what one call weighs."""
    yield from (numbers.numbers[name] for name in weighed.reading.used)
    if weighed.reading.informative:
        yield from _around(numbers, *_circumstances(weighed, numbers))


def _circumstances(
    weighed: WeighedCall, numbers: ParameterSet
) -> tuple[str, str, str, str, bool, bool, str, str, tuple[str, ...]]:
    call = weighed.call
    report = confirmed_doubt(call, numbers) or shared_doubt(call)
    around = call.role, call.method, call.sureness, call.identified
    return (
        *around,
        weighed.knowing,
        weighed.heard is not None,
        weighed.species,
        report,
        weighed.by_size,
    )


@lru_cache(maxsize=512)
def _around(
    numbers: ParameterSet,
    role: str,
    method: str,
    sureness: str,
    identity: str,
    knowing: bool,
    heard: bool,
    species: str,
    report: str,
    by_size: tuple[str, ...],
) -> tuple[Parameter, ...]:
    """What enters beside the finding itself."""
    names = [
        f"error.{role}.a",
        f"error.{role}.b",
        f"error.{role}.{method}.male",
        f"error.{role}.{method}.female",
        f"error_share.{method}",
        f"error_by_sex.{method}.male",
        f"error_by_sex.{method}.female",
        "error.lasting_share",
        f"sureness.{sureness}",
        "error.most",
        f"mislead.{method}.male",
        f"mislead.{method}.female",
        f"identity.{identity}",
        "session.hours",
        species,
        report,
        *by_size,
    ]
    if f"wrong_or_unresolved.{method}" in numbers.numbers:
        names += [f"wrong_or_unresolved.{method}", "unresolved_share"]
    if knowing:
        names += ["anchoring.discordant_blind", "anchoring.discordant_knowing", "followed"]
    if heard:
        names.append(BLIND_FOLLOWED)
    if knowing or heard:
        names.append(f"anchoring_share.{method}")
    return tuple(numbers.numbers[name] for name in names if name in numbers.numbers)


def _of_taxon(taxon: Taxon, codes: set[str]) -> Iterable[Parameter]:
    if codes & _OF_DEPTHS:
        yield from range_parameters(taxon, "depth")
    if taxon.subcaudal_sources and codes & {"finding_read", "scale_overlap"}:
        yield from range_parameters(taxon, "subcaudals")

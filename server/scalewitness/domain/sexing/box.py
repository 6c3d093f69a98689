"""The numbers that entered an answer and how far each may plausibly lie from its value.

A *factor* is one thing that is uncertain: a number, the strength of one finding, how deep
one sex of the species probes, an examiner's own record, the prior from a linked trait.
"""

from collections.abc import Iterable, Mapping, Sequence
from math import exp, log
from typing import Any, Final, Literal, cast

from msgspec import Struct

from scalewitness.domain.methods import METHODS
from scalewitness.domain.observations import Method, Sex
from scalewitness.domain.sexing.examiners.beta import interval
from scalewitness.domain.sexing.parameters import Parameter, ParameterSet, Status
from scalewitness.domain.sexing.records import Beta
from scalewitness.domain.sexing.sessions import Weigher
from scalewitness.domain.sexing.tables import table
from scalewitness.domain.sexing.taxa import Taxon, depth_number
from scalewitness.domain.sexing.used import entered
from scalewitness.domain.sexing.weighed import WeighedCall

RecordKey = tuple[str, Method, Sex]
Range = tuple[float, float]

_SEXES: tuple[Sex, ...] = ("male", "female")
_DEPTHS_READ = frozenset({"depths_read", "partly_too_deep"})


Kind = Literal["examiners", "animal", "identity", "report", "numbers"]
"""What is uncertain: how far the examiners can be trusted, whether this animal shows its own
sex's picture, whether it was the one examined, whether what was reported is so, and whatever
else the model holds of methods and species."""
_KIND_BY_NAME: Final[Mapping[str, Kind]] = {
    "error": "examiners",
    "error_share": "examiners",
    "error_by_sex": "examiners",
    "sureness": "examiners",
    "followed": "examiners",
    "blind": "examiners",
    "anchoring": "examiners",
    "record": "examiners",
    "mislead": "animal",
    "identity": "identity",
    "report": "report",
}


class Setting(Struct, frozen=True):
    """What differs from the base set at one point of the box: numbers by name, records,
    ``shift`` of the male's and the female's depths in scales, the prior."""

    numbers: tuple[tuple[str, float], ...] = ()
    shift: tuple[float, float] = (0.0, 0.0)
    rates: tuple[tuple[RecordKey, Beta], ...] = ()
    prior_male: float | None = None

    def __add__(self, other: "Setting") -> "Setting":
        """Both changes; where they name the same, the other's."""
        return Setting(
            self.numbers + other.numbers,
            (self.shift[0] + other.shift[0], self.shift[1] + other.shift[1]),
            self.rates + other.rates,
            self.prior_male if other.prior_male is None else other.prior_male,
        )


class Factor(Struct, frozen=True):
    """One uncertain thing. ``what`` says it in plain words; ``value``, ``low`` and ``high``
    are the number itself (a mean rate, a multiple of log odds, a shift in scales)."""

    name: str
    what: str
    value: float
    low: float
    high: float
    status: Status
    ends: tuple[Setting, Setting]

    @property
    def kind(self) -> Kind:
        return _KIND_BY_NAME.get(self.name.partition(".")[0], "numbers")


def factors(
    weighed: Sequence[WeighedCall],
    weigher: Weigher,
    prior_male: float = 0.5,
    prior_range: Range | None = None,
) -> tuple[Factor, ...]:
    """Every factor that entered what these calls weigh, by name."""
    informative = [one for one in weighed if one.reading.informative]
    used = {p.name: p for one in informative for p in entered(one, weigher.numbers)}
    found = [
        *_means(used),
        *_numbers(used),
        *_learned_besides(used),
        *_findings(used),
        *_ranges(informative, weigher),
        *_records(informative, weigher),
        *_prior(prior_male, prior_range),
    ]
    return tuple(sorted(found, key=lambda factor: factor.name))


def changed(numbers: ParameterSet, setting: Setting) -> ParameterSet:
    """The set with other values under the names the setting gives."""
    known = numbers.numbers
    others = {
        name: Parameter(name, value, known[name].status, of=known[name].of)
        for name, value in setting.numbers
    }
    return ParameterSet({**known, **others})


# --- the kinds of factor ----------------------------------------------------------------


def _box(part: str) -> Mapping[str, Any]:
    found: Mapping[str, Any] = table("sensitivity.toml")[part]
    return found


def _factor(
    name: str, value: float, given: Mapping[str, Any], low: Setting, high: Setting
) -> Factor:
    ends = float(given["low"]), float(given["high"])
    return Factor(name, given["what"], value, *ends, given["status"], (low, high))


def _means(used: Mapping[str, Parameter]) -> Iterable[Factor]:
    for name, given in _box("means").items():
        learned = [one for one in used.values() if one.within and one.name.startswith(f"{name}.")]
        for one in learned:
            _, _, method, sex = one.name.split(".")
            noun = METHODS[cast(Method, method)].noun
            yield _within(one, f"{given['what']} about {sex}s by {noun}")
        if f"{name}.a" in used and not learned:
            a, b = used[f"{name}.a"].value, used[f"{name}.b"].value
            low, high = (_mean(name, float(given[end]), a + b) for end in ("low", "high"))
            yield _factor(name, a / (a + b), given, low, high)


def _mean(name: str, mean: float, weight: float) -> Setting:
    return Setting(((f"{name}.a", mean * weight), (f"{name}.b", (1 - mean) * weight)))


def _numbers(used: Mapping[str, Parameter]) -> Iterable[Factor]:
    for name, given in _box("numbers").items():
        if name in used and used[name].within:
            yield _within(used[name], given["what"])
        elif name in used:
            low, high = (Setting(((name, float(given[end])),)) for end in ("low", "high"))
            yield _factor(name, used[name].value, given, low, high)


def _learned_besides(used: Mapping[str, Parameter]) -> Iterable[Factor]:
    for one in used.values():
        given = _box("learned").get(one.name.partition(".")[0])
        if given is not None and one.within:
            yield _within(one, given["what"])


def _within(one: Parameter, what: str) -> Factor:
    """A number learned here, at the ends of its own interval."""
    low, high = one.within or (one.value, one.value)
    ends = Setting(((one.name, low),)), Setting(((one.name, high),))
    return Factor(one.name, what, one.value, low, high, one.status, ends)


def _findings(used: Mapping[str, Parameter]) -> Iterable[Factor]:
    given = _box("findings")["strength"]
    for name in used:
        finding, _, sex = name.rpartition(".")
        if sex == "male" and _method(finding) in METHODS:
            pair = used[name].value, used[f"{finding}.female"].value
            low, high = (_strength(finding, pair, float(given[end])) for end in ("low", "high"))
            about = {**given, "what": given["what"].format(METHODS[_method(finding)].noun)}
            yield _factor(f"strength.{finding}", 1.0, about, low, high)


def _method(finding: str) -> Method:
    return cast(Method, finding.partition(".")[0])


def _strength(finding: str, pair: tuple[float, float], strength: float) -> Setting:
    """The rarer chance moved until the log of the odds is so many times what it was."""
    rarer, other = sorted((0, 1), key=lambda sex: pair[sex])
    value = pair[other] * exp(strength * log(pair[rarer] / pair[other]))
    return Setting(((f"{finding}.{_SEXES[rarer]}", value),))


def _ranges(informative: Sequence[WeighedCall], weigher: Weigher) -> Iterable[Factor]:
    if not any(one.reading.code in _DEPTHS_READ for one in informative):
        return
    taxon = weigher.taxon
    given = _box("ranges")["published" if taxon.ground == "published" else "other"]
    for sex, unit in zip(_SEXES, ((1, 0), (0, 1)), strict=True):
        found = _learned(taxon, sex, weigher.numbers) or given
        low, high = float(found["low"]), float(found["high"])
        ends = (Setting(shift=(unit[0] * end, unit[1] * end)) for end in (low, high))
        about = {**found, "what": found["what"].format(f"{sex}s")}
        yield _factor(f"{taxon.key}.depth.{sex}", 0.0, about, *ends)


def _learned(taxon: Taxon, sex: Sex, numbers: ParameterSet) -> Mapping[str, Any] | None:
    """How far that sex's depths may lie from what was learned here of them."""
    found = numbers.numbers.get(depth_number(taxon.key, sex, "middle"))
    if found is None or found.within is None:
        return None
    low, high = (end - found.value for end in found.within)
    return {**_box("ranges")["published"], "low": low, "high": high, "status": found.status}


def _records(informative: Sequence[WeighedCall], weigher: Weigher) -> Iterable[Factor]:
    keys = {(one.call.examiner, one.method, sex) for one in informative for sex in _SEXES}
    given = _box("records")["level"]
    for key in sorted(keys & weigher.records.rates.keys()):
        a, b = weigher.records.rates[key]
        low, high = interval((a, b), float(given["value"]))
        ends = (
            Setting(rates=((key, (end * (a + b), (1 - end) * (a + b))),)) for end in (low, high)
        )
        about = {**given, "low": low, "high": high}
        yield _factor("record." + ".".join(key), a / (a + b), about, *ends)


def _prior(value: float, given: Range | None) -> Iterable[Factor]:
    if given is not None and given[0] < given[1]:
        about = {
            "low": given[0],
            "high": given[1],
            "what": "how far what is stated of a trait linked to sex can be relied on",
            "status": "our judgement",
        }
        ends = (Setting(prior_male=end) for end in given)
        yield _factor("prior", value, about, *ends)

"""A number that was learned, and a version of the model's numbers with such in it."""

from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType
from typing import Final, NamedTuple, cast

from msgspec import Struct

from scalewitness.domain.observations import Sex
from scalewitness.domain.sexing.evidence import other
from scalewitness.domain.sexing.learning.settled import Basis
from scalewitness.domain.sexing.parameters import Parameter, Parameters, ParameterSet, SetName

_STEP: Final = Decimal("0.0001")
"""To which everything learned is rounded before it is used."""


class LearnedNumber(Struct, frozen=True):
    """``name`` as in the data files, or of a family of its own:

    ``error.ROLE.METHOD.SEX``    how often such an examiner misreads an animal of that sex
    ``mislead.METHOD.SEX``       how many animals of that sex always show the other's picture
    ``depth.SPECIES.SEX.middle`` and ``.spread``: how deep that sex probes, in scales
    ``depth_bias.EXAMINER``      by how many scales they count deeper than others, to the half
    ``blind.followed``           how many calls said to be blind repeat what was concluded before
    ``followed``                 of how many animals all who knew an answer repeated it
    ``error_by_stage.METHOD.STAGE``, ``error_by_probe.fine.SEX``: how many times the usual error

    ``low`` and ``high`` bound it with 95 in 100. ``males``, ``females``, ``examiners`` and
    ``collections`` count what it was learned from. All are rounded as they are used.
    """

    name: str
    value: Decimal
    low: Decimal
    high: Decimal
    males: int
    females: int
    examiners: int
    collections: int


class Estimate(NamedTuple):
    """A number and the interval that holds it with 95 in 100."""

    value: float
    low: float
    high: float


def learned_number(name: str, found: Estimate, of: Basis) -> LearnedNumber:
    """Rounded; a share never to nothing."""
    value, low, high = (_rounded(one, name) for one in found)
    return LearnedNumber(name, value, low, high, *of)


def _rounded(value: float, name: str) -> Decimal:
    rounded = Decimal(repr(float(value))).quantize(_STEP)
    return rounded if name.startswith("depth_bias.") else max(rounded, _STEP)


def with_learned(
    parameters: Parameters, learned: Sequence[LearnedNumber], name: str = ""
) -> Parameters:
    """The same version with what was learned in its place: its value in the base set, the worse
    end of its interval in the pessimistic one. ``name`` is kept as ``learned``; the same numbers
    give the same object, which caches rely on."""
    return _with_learned(parameters, tuple(learned), name) if learned else parameters


@lru_cache(maxsize=16)
def _with_learned(
    parameters: Parameters, learned: tuple[LearnedNumber, ...], name: str
) -> Parameters:
    return put_in(parameters, learned, name)


def put_in(parameters: Parameters, learned: Sequence[LearnedNumber], name: str = "") -> Parameters:
    """As :func:`with_learned`, a new object each time."""
    values = {one.name: one.value for one in learned}

    def changed(numbers: ParameterSet, of: SetName) -> ParameterSet:
        found = {
            one.name: _parameter(one, float(one.value) if of == "base" else _worse(one, values), of)
            for one in learned
        }
        return ParameterSet(MappingProxyType({**numbers.numbers, **found}))

    return Parameters(
        parameters.version,
        changed(parameters.base, "base"),
        changed(parameters.pessimistic, "pessimistic"),
        name,
    )


def _worse(one: LearnedNumber, values: dict[str, Decimal]) -> float:
    """The end of the interval that makes an answer less certain."""
    family, *rest = one.name.split(".")
    if family == "depth_bias":
        return float(one.value)
    if family == "depth" and rest[-1] == "middle":
        species, sex, _ = rest
        facing = values[f"depth.{species}.{other(cast(Sex, sex))}.middle"]
        return float(one.high if facing > one.value else one.low)
    return float(one.high)


def _parameter(one: LearnedNumber, value: float, of: SetName) -> Parameter:
    return Parameter(
        one.name,
        value,
        "learned here",
        f"{one.males} males and {one.females} females settled in {one.collections} collections, "
        f"checked by {one.examiners} examiners",
        f"between {one.low.normalize():f} and {one.high.normalize():f}",
        of,
        (float(one.low), float(one.high)),
    )

"""A number that was learned, and a version of the model's numbers with such in it."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import lru_cache
from types import MappingProxyType

from msgspec import Struct

from scalewitness.domain.sexing.parameters import Parameter, Parameters, ParameterSet, SetName


class LearnedNumber(Struct, frozen=True):
    """``name`` as in the data files, or of a family of its own:

    ``error.ROLE.METHOD.SEX``    how often such an examiner misreads an animal of that sex
    ``mislead.METHOD.SEX``       how many animals of that sex always show the other's picture
    ``depth.SPECIES.SEX.middle`` and ``.spread``: how deep that sex probes, in scales
    ``depth_bias.EXAMINER``      by how many scales they count deeper than others

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
    def changed(numbers: ParameterSet, of: SetName) -> ParameterSet:
        found = {one.name: _parameter(one, value, of) for one, value in _values(learned, of)}
        return ParameterSet(MappingProxyType({**numbers.numbers, **found}))

    return Parameters(
        parameters.version,
        changed(parameters.base, "base"),
        changed(parameters.pessimistic, "pessimistic"),
        name,
    )


def _values(
    learned: Sequence[LearnedNumber], of: SetName
) -> Iterable[tuple[LearnedNumber, Decimal]]:
    for one in learned:
        yield one, one.value if of == "base" else one.high


def _parameter(one: LearnedNumber, value: Decimal, of: SetName) -> Parameter:
    return Parameter(
        one.name,
        float(value),
        "learned here",
        f"{one.males} males and {one.females} females settled in {one.collections} collections, "
        f"checked by {one.examiners} examiners",
        f"between {one.low} and {one.high}",
        of,
    )

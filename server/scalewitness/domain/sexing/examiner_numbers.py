"""Every number an examiner's figures start from, with its source and status."""

from collections.abc import Iterable

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.parameters import Parameter, ParameterSet, numbers_of
from scalewitness.domain.sexing.qualification import NUMBERS
from scalewitness.domain.sexing.tables import table

_ALWAYS = tuple(numbers_of("examiners", table("examiners.toml")))


def numbers_behind(
    role: Role, methods: Iterable[Method], numbers: ParameterSet
) -> tuple[Parameter, ...]:
    """The prior of the role and what scales it for these methods, then the numbers of the
    test, of drift, of harm and of intervals. ``numbers`` is the base set."""
    names = [f"error.{role}.a", f"error.{role}.b"]
    for method in methods:
        names += [f"error_share.{method}", f"wrong_or_unresolved.{method}"]
        names += [f"error_by_sex.{method}.male", f"error_by_sex.{method}.female"]
    found = [numbers.numbers[name] for name in names if name in numbers.numbers]
    return (*found, *NUMBERS, *_ALWAYS)

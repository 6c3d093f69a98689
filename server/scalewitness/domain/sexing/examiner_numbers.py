"""Every number an examiner's figures start from, with its source and status."""

from collections.abc import Iterable

from scalewitness.domain.observations import Method
from scalewitness.domain.sexing.evidence import Role
from scalewitness.domain.sexing.examiners.drift import EVEN, WARN_BELOW
from scalewitness.domain.sexing.examiners.harm import PRIOR
from scalewitness.domain.sexing.parameters import Parameter, ParameterSet
from scalewitness.domain.sexing.qualification import NUMBERS

_ALWAYS = (
    Parameter(
        "drift.even",
        EVEN,
        "published",
        "Copeia 2011(4):553",
        "males among hatchlings of six snake species",
        "examiners",
    ),
    Parameter(
        "drift.warn_below", WARN_BELOW, "our judgement", note="p-value of drift", of="examiners"
    ),
    *(
        Parameter(
            f"harm.prior.{name}",
            value,
            "published",
            "Jeffreys prior; Brown, Cai and DasGupta 2001",
            "no published rate of harm from sexing was found",
            "examiners",
        )
        for name, value in zip("ab", PRIOR, strict=True)
    ),
)


def numbers_behind(
    role: Role, methods: Iterable[Method], numbers: ParameterSet
) -> tuple[Parameter, ...]:
    """The prior of the role and what scales it for these methods, then the numbers of the
    test, of drift and of harm. ``numbers`` is the base set."""
    names = [f"error.{role}.a", f"error.{role}.b"]
    for method in methods:
        names += [f"error_share.{method}", f"wrong_or_unresolved.{method}"]
    found = [numbers.numbers[name] for name in names if name in numbers.numbers]
    return (*found, *NUMBERS, *_ALWAYS)

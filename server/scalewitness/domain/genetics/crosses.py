"""What a parent gives its young at one locus on an ordinary chromosome."""

from fractions import Fraction
from typing import Literal, TypeVar

System = Literal["XY", "ZW"]

T = TypeVar("T")
HALF = Fraction(1, 2)


def gametes(pair: tuple[T, T]) -> dict[T, Fraction]:
    """Each of a parent's two with chance one half; together where they are the same."""
    one, other = pair
    return {one: Fraction(1)} if one == other else {one: HALF, other: HALF}

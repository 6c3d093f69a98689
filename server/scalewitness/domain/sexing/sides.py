"""Whether the two sides of one probing agree: in males they do, in females often not.

Taken one by one, depths imply how often two sides agree, by the width of the range alone.
The model replaces that share by the one in the data: with m_S the chance that the sides of
sex S are alike and i_S the chance that independent depths would be,

P(depths | S) = Π P(depth | S) · (m_S / i_S if alike, else (1 − m_S) / (1 − i_S)),

which is still a distribution over depths, and leaves a probing of one side as it was.
"""

from collections.abc import Iterable
from functools import lru_cache
from math import exp, fsum, log

from msgspec import Struct

from scalewitness.domain.observations import Pass
from scalewitness.domain.sexing.depths import DepthTable, half_scales
from scalewitness.domain.sexing.likelihood import Pair
from scalewitness.domain.sexing.parameters import ParameterSet

SIDES_NUMBERS = ("sides.within", "sides.match.male", "sides.match.female")
MOST_PASSES = 8
"""On one side; later ones are not compared (an input guard only)."""


class Sides(Struct, frozen=True):
    """``pair`` as in :mod:`likelihood`: what agreeing, or not, adds to the depths."""

    alike: bool
    pair: Pair


def compare(
    runs: Iterable[Pass], tables: tuple[DepthTable, DepthTable], numbers: ParameterSet
) -> Sides | None:
    """What the sides say beside their depths, each side by its mean; ``tables`` are the
    male's and the female's. None unless resistance ended a pass on both sides, or in a
    version of the numbers that does not look at sides."""
    left, right = _ended(runs, "left"), _ended(runs, "right")
    if not left or not right:
        return None
    terms = _both(tables, numbers, len(left), len(right))
    if terms is None:
        return None
    within, alike, different = terms
    apart = abs(sum(left) * len(right) - sum(right) * len(left))
    return alike if apart <= 2 * within * len(left) * len(right) else different


@lru_cache(maxsize=1024)
def _both(
    tables: tuple[DepthTable, DepthTable], numbers: ParameterSet, left: int, right: int
) -> tuple[float, Sides, Sides] | None:
    """How far apart sides may be that count as alike, and what being alike, or not, adds
    with so many passes on each."""
    if SIDES_NUMBERS[0] not in numbers.numbers:
        return None
    within = numbers.value("sides.within")
    shares = [numbers.value(name) for name in SIDES_NUMBERS[1:]]
    chances = [alike_by_chance(table, left, right, within) for table in tables]

    def sides(alike: bool) -> Sides:
        male, female = (log_factor(alike, *pair) for pair in zip(shares, chances, strict=True))
        return Sides(alike, (male, female))

    return within, sides(True), sides(False)


@lru_cache(maxsize=1024)
def alike_by_chance(table: DepthTable, left: int, right: int, within: float) -> float:
    """The chance that the means of so many independent passes on each side come within so
    many scales of each other."""
    one, two = _sums(table, left), _sums(table, right)
    most = int(2 * within * left * right)

    def near(total: int) -> list[float]:
        """The chances of the other side's sums whose mean comes that close."""
        low, high = -((most - total * right) // left), (total * right + most) // left
        return two[max(low, 0) : max(high + 1, 0)]

    return fsum(chance * fsum(near(total)) for total, chance in enumerate(one))


def _ended(runs: Iterable[Pass], side: str) -> list[int]:
    """Half scales of the passes on one side that resistance ended."""
    ended = [
        half_scales(run.depth) for run in runs if run.side == side and run.stopped == "resistance"
    ]
    return ended[:MOST_PASSES]


def log_factor(alike: bool, share: float, by_chance: float) -> float:
    """By how much, in logarithms, the stated share of matches changes the chance of depths
    that are alike, or are not."""
    return log(share / by_chance) if alike else log((1 - share) / (1 - by_chance))


def _sums(table: DepthTable, passes: int) -> list[float]:
    """How the sum of the half scales of independent passes is distributed."""
    each = list(map(exp, table.stops))
    found = each
    for _ in range(passes - 1):
        found = _convolved(found, each)
    return found


def _convolved(one: list[float], two: list[float]) -> list[float]:
    found = [0.0] * (len(one) + len(two) - 1)
    for start, chance in enumerate(one):
        for more, other in enumerate(two):
            found[start + more] += chance * other
    return found

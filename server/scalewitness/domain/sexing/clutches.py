"""A clutch in the trade's count, and its sex ratio."""

from collections.abc import Iterable

from msgspec import Struct

from scalewitness.domain.observations import (
    Conclusion,
    Sex,
)
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson, two_sided
from scalewitness.domain.sexing.examiners.drift import EVEN
from scalewitness.domain.sexing.tables import table


class Tally(Struct, frozen=True):
    """A clutch in the trade's count."""

    males: int
    females: int
    unsexed: int

    def __str__(self) -> str:
        """Males.females.unsexed, as in 3.4.1."""
        return f"{self.males}.{self.females}.{self.unsexed}"


class Ratio(Struct, frozen=True):
    """Males among the sexed young against an expected share: exact two-sided binomial
    ``p``, and the exact 95 % interval of the share."""

    males: int
    females: int
    expected: float
    p: float
    low: float
    high: float
    text: str


def tally(conclusions: Iterable[Conclusion]) -> Tally:
    """Counts by conclusion."""
    found = list(conclusions)
    return Tally(*(found.count(one) for one in ("male", "female", "undetermined")))


def sex_ratio(counted: Tally, expected: float = EVEN) -> Ratio:
    """The exact test of one clutch. Raises ValueError for an expected share outside (0, 1)
    or without a sexed animal.

    1:1 at birth was not rejected in 2,443 young of six species (Copeia 2011(4):553)."""
    n = counted.males + counted.females
    if n == 0 or not 0 < expected < 1:
        raise ValueError("a ratio needs sexed young and an expected share between 0 and 1")
    low, high = clopper_pearson(counted.males, n)
    p = two_sided(counted.males, n, expected)
    return Ratio(counted.males, counted.females, expected, p, low, high, _in_words(counted, p))


_UNLIKELY, _FEW = (float(table("clutches.toml")[name]["value"]) for name in ("unlikely", "few"))


def _in_words(counted: Tally, p: float) -> str:
    n = counted.males + counted.females
    text = f"{counted.males} males among {n} sexed young"
    if p >= _UNLIKELY:
        text += " is nothing unusual"
    else:
        towards: Sex = "male" if counted.males > counted.females else "female"
        text += (
            f" would be seen, or something more unusual, in {100 * p:.1f} of 100 clutches; "
            f"before anything else, check whether some were called {towards} by mistake"
        )
    note = " One clutch can show very little." if n < _FEW else ""
    return f"{text}.{note}"

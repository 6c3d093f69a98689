"""Two calls that tend to be wrong together.

Conditional covariance of two binary findings given the sex (Vacek 1985, Biometrics 41;
Gardner et al. 2000, Preventive Veterinary Medicine 45). Taken as independent, two agreeing
calls say more than they know.
"""

from math import log, sqrt

from msgspec import Struct

from scalewitness.domain.sexing.likelihood import Pair, combine

Results = tuple[bool, bool]
"""Did the first, did the second say female?"""

ALL: tuple[Results, ...] = ((True, True), (True, False), (False, True), (False, False))


class TwoCalls(Struct, frozen=True):
    """Chances that each says female, for one sex, and the correlation of their answers.

    Raises ValueError for chances outside [0, 1] or a correlation the chances do not allow.
    """

    first: float
    second: float
    correlation: float = 0.0

    def __post_init__(self) -> None:
        if not (0 <= self.first <= 1 and 0 <= self.second <= 1):
            raise ValueError("a chance lies between 0 and 1")
        least, most = covariance_range(self.first, self.second)
        if not least - _ROUNDING <= self.covariance <= most + _ROUNDING:
            raise ValueError("no two calls with these chances are so correlated")

    @property
    def covariance(self) -> float:
        spread = self.first * (1 - self.first) * self.second * (1 - self.second)
        return self.correlation * sqrt(spread)

    def chance(self, results: Results) -> float:
        """The joint chance of the two results."""
        first = self.first if results[0] else 1 - self.first
        second = self.second if results[1] else 1 - self.second
        moved = self.covariance if results[0] == results[1] else -self.covariance
        found = first * second + moved
        return found if found > _ROUNDING else 0.0


def covariance_range(first: float, second: float) -> tuple[float, float]:
    """Least and largest covariance two such calls can have."""
    least = -min(first * second, (1 - first) * (1 - second))
    return least, min(first * (1 - second), second * (1 - first))


def evidence(if_male: TwoCalls, if_female: TwoCalls, results: Results) -> Pair | None:
    """Log-likelihoods (male, female) of the two results; None for results that cannot be."""
    male, female = if_male.chance(results), if_female.chance(results)
    if male == female == 0:
        return None
    return _log(male), _log(female)


def female_after(
    if_male: TwoCalls, if_female: TwoCalls, results: Results, prior_female: float = 0.5
) -> float | None:
    """The probability of female after both results; None for results that cannot be."""
    pair = evidence(if_male, if_female, results)
    return None if pair is None else 1 - combine([pair], 1 - prior_female)


_ROUNDING = 1e-12
"""By so much rounding can move a chance."""


def _log(chance: float) -> float:
    return log(chance) if chance > 0 else float("-inf")

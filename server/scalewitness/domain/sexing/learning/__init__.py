"""Numbers learned from the record itself: from animals whose sex confirmed proof settled.

Pure: settled animals in, numbers out. Whoever adopts them logs every number as it was rounded,
and :func:`with_learned` makes of those what a standing is worked out with, so that replay is exact.
"""

from scalewitness.domain.sexing.learning.learn import learn
from scalewitness.domain.sexing.learning.numbers import LearnedNumber, with_learned
from scalewitness.domain.sexing.learning.settled import SettledAnimal

__all__ = ["LearnedNumber", "SettledAnimal", "learn", "with_learned"]

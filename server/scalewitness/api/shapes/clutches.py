"""Clutches as shown."""

from datetime import date
from uuid import UUID

from msgspec import Struct

from scalewitness.breeding.queries.clutches import Clutch, ratio_in_words


class SexRatio(Struct, frozen=True):
    """Males among the young checked against 1:1, by what the first check of each showed: exact
    two-sided binomial ``p`` under the share of males shown that explains them best, and the
    interval of the share of males (Clopper and Pearson, at least 95%)."""

    p: float
    low: float
    high: float
    words: str


class ClutchShown(Struct, frozen=True):
    """``count`` is males.females.unsexed by the standings; ``ratio`` None: fewer than six
    were checked."""

    hatched: date
    sire: UUID | None
    dam: UUID | None
    animals: list[UUID]
    males: int
    females: int
    unsexed: int
    count: str
    ratio: SexRatio | None


class Clutches(Struct, frozen=True):
    """``next``: the cursor of the next part, None at the end."""

    items: list[ClutchShown]
    next: str | None


def clutch(one: Clutch) -> ClutchShown:
    ratio = one.ratio
    return ClutchShown(
        hatched=one.hatched,
        sire=one.sire,
        dam=one.dam,
        animals=[animal.pk for animal in one.animals],
        males=one.counted.males,
        females=one.counted.females,
        unsexed=one.counted.unsexed,
        count=str(one.counted),
        ratio=SexRatio(ratio.p, ratio.low, ratio.high, ratio_in_words(ratio)) if ratio else None,
    )

"""Whether what arrived is what was sold, by its buyer's word."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.words import one_of
from scalewitness.domain.arrivals import ARRIVED_IN_WORDS, READ_IN_WORDS
from scalewitness.sales.queries.arrivals import Arrival


class ArrivalShown(Struct, frozen=True):
    """``read``: the transponder read from it; ``fits``: what that says: the one on record when the
    buyer confirmed, one put there ``later``, or another; ``words``: all of it, for people."""

    id: UUID
    animal: UUID
    answer: Annotated[str, one_of(*ARRIVED_IN_WORDS)]
    read: str | None
    fits: Annotated[str | None, one_of(*READ_IN_WORDS)]
    at: datetime
    position: int
    words: str


class Arrivals(Struct, frozen=True):
    items: list[ArrivalShown]


def arrivals(answers: Iterable[Arrival]) -> list[ArrivalShown]:
    return [
        ArrivalShown(
            one.id,
            one.animal,
            one.answer,
            one.read or None,
            one.fits,
            one.at,
            one.position,
            one.in_words,
        )
        for one in answers
    ]

"""That an animal came back from its sale, and on whose word."""

from collections.abc import Iterable
from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.words import one_of
from scalewitness.domain.returns import RETURNED_IN_WORDS
from scalewitness.sales.queries.returns import Return


class ReturnShown(Struct, frozen=True):
    """``move``: the fact that states it; ``state``: who else says so; ``words``: that, for
    people."""

    move: UUID
    animal: UUID
    at: datetime
    position: int
    state: Annotated[str, one_of(*RETURNED_IN_WORDS)]
    words: str


class Returns(Struct, frozen=True):
    items: list[ReturnShown]


def returned(claimed: Return) -> ReturnShown:
    return ReturnShown(
        claimed.id, claimed.animal.pk, claimed.at, claimed.position, claimed.state, claimed.in_words
    )


def returns(claimed: Iterable[Return]) -> list[ReturnShown]:
    return [returned(one) for one in claimed]

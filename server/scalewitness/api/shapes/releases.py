"""That a seller asked for the release of what was paid for, and what its buyer made of it."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes.words import one_of
from scalewitness.domain.sales import WHY_RELEASED
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import last_release


class ReleaseShown(Struct, frozen=True):
    """``asked``: the fact that asks for it; ``words``: what both say, for people."""

    asked: UUID
    at: datetime
    position: int
    why: Annotated[str, one_of(*WHY_RELEASED)]
    agreed: bool
    denied: bool
    words: str


def release(sale: Sale) -> ReleaseShown | None:
    """The one asked for last, if any was."""
    found = last_release(sale)
    if found is None:
        return None
    return ReleaseShown(
        found.id, found.at, found.position, found.why, found.agreed, found.denied, found.in_words
    )

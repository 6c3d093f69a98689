"""Letters as the people who caused them may see: whether they arrived."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.api.shapes import words
from scalewitness.mail.models import Letter


class LetterShown(Struct, frozen=True):
    """``to``: the name of the recipient. ``problem``: what the mail host last said."""

    kind: str
    to: str
    state: words.LetterState
    created_at: datetime
    sent_at: datetime | None
    attempts: int
    problem: str | None


def letters(rows: Iterable[Letter], names: Mapping[UUID, str]) -> list[LetterShown]:
    return [
        LetterShown(
            kind=row.kind,
            to=names.get(row.recipient, "unknown"),
            state=row.state,
            created_at=row.created_at,
            sent_at=row.sent_at,
            attempts=row.attempts,
            problem=row.last_error or None,
        )
        for row in rows
    ]

"""Letters owed by one transaction."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.models import Letter
from scalewitness.mail.services import queueing as mail


class Owing:
    """Queues letters in the transaction of their cause; they leave after commit. ``sender``: the
    keeper whose facts the transaction stores."""

    def __init__(self, sender: UUID | None, now: datetime) -> None:
        self.sender, self.now = sender, now
        self.kinds: Counter[str] = Counter()
        self.readers: set[UUID] = set()

    def owe(
        self,
        kind: str,
        *,
        cause: UUID,
        recipient: UUID,
        to: str,
        context: Mapping[str, Any],
        about: str = "",
    ) -> None:
        """``about``: what it tells of, where the order of letters matters to its reader."""
        id = fresh_id(self.now)
        self.owe_all([mail.letter(id, kind, cause, recipient, to, context, self.now, about)])

    def owe_all(self, letters: Iterable[Letter]) -> None:
        owed = list(letters)
        self.queue(owed)
        self.kinds.update(letter.kind for letter in owed)
        self.readers.update(letter.recipient for letter in owed)

    def queue(self, letters: Sequence[Letter]) -> None:
        mail.queue_all(letters)

    @property
    def any(self) -> bool:
        return bool(self.kinds)

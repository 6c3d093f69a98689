"""What a new rule changes, in one letter to each reader: nothing new was seen of any animal, so
nobody should open thirty letters to find that out."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from scalewitness.letters.owing import Owing
from scalewitness.mail.models import Letter
from scalewitness.mail.services import gathering, queueing

NEW_RULES: Final = frozenset({"policy_adopted", "numbers_adopted"})
"""Causes that move many animals at once, and of which nothing new was seen."""
LEAVES_AFTER = timedelta(hours=1)
"""Such a letter leaves when every animal was looked at, and after this where that was stopped
(our judgement)."""


class OwingTogether(Owing):
    """Each letter is owed as it is to be, and goes inside its reader's one."""

    def __init__(self, owing: Owing, cause: UUID, kind: str) -> None:
        super().__init__(owing.sender, owing.now)
        self.kinds, self.readers = owing.kinds, owing.readers
        self._about = {"rule": str(cause), "cause_kind": kind}

    def queue(self, letters: Sequence[Letter]) -> None:
        gathering.gather(letters, self._about, self.now, self.now + LEAVES_AFTER)


def owing_for(cause: UUID, kind: str, owing: Owing) -> Owing:
    """How letters are owed for what follows from that fact."""
    return OwingTogether(owing, cause, kind) if kind in NEW_RULES else owing


def let_go(now: datetime) -> None:
    """Every animal was looked at: the letters leave."""
    if gathering.let_go(now):
        queueing.wake()

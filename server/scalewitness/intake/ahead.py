"""Judging a batch of calls before its turn to write, from what is known of the log as it was.

Whoever waits for the log's lock then waits only for the batch before to be stored, not for it
to be judged. What was found ahead holds if nothing that bears on it entered the log meanwhile;
only the positions move. Else, and for all that is not so simple, everything is judged under
the lock.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import msgspec
from django.db import DatabaseError, connection

from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Batch, OutOfTurn
from scalewitness.intake.judging import judge
from scalewitness.intake.kinds import AT_ONCE
from scalewitness.intake.outcomes import Outcome, Seen, known_among
from scalewitness.intake.submission import Sealed


@dataclass(frozen=True, slots=True)
class Ahead:
    """A batch that was judged, and has yet to be written."""

    prepared: Sequence[Sealed | Refused]
    batch: Batch
    outcomes: list[Outcome]

    def take_turn(self, after: "Ahead | None" = None) -> list[Outcome] | None:
        """Lock the log, in the transaction that is open, for the batch to be flushed. None
        where it would not come out the same any more. ``after``: another that has its turn."""
        moved = self.batch.take_turn(after.batch if after else None)
        if moved is None or known_among(self.prepared):
            return None
        return [_moved(one, moved) for one in self.outcomes] if moved else self.outcomes

    def subjects(self) -> set[UUID]:
        """What its facts are and are about: of two batches that share any, one bears on the
        other."""
        sealed = [one for one in self.prepared if isinstance(one, Sealed)]
        return {one for fact in sealed for one in (fact.id, fact.about)}


def judged_ahead(prepared: Sequence[Sealed | Refused], batch: Batch) -> Ahead | None:
    """``batch`` is one begun ahead. None where anything but reading is to be done, or an item
    is of a kind whose rule reads what it and others write."""
    if any(isinstance(one, Sealed) and one.kind not in AT_ONCE for one in prepared):
        return None
    try:
        with connection.execute_wrapper(_only_reads):
            return Ahead(prepared, batch, judge(prepared, batch, Seen(batch.actor, [])))
    except (OutOfTurn, DatabaseError):  # the latter is looked into under the lock
        batch.known.forget()
        with batch.known.read_ahead():
            return None


def _only_reads(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
    """Outside of the batch's transaction a write would be one of its own."""
    if not sql.lstrip().startswith("SELECT"):
        raise OutOfTurn
    return execute(sql, *rest)


def _moved(outcome: Outcome, by: int) -> Outcome:
    if outcome.position is None:
        return outcome
    return msgspec.structs.replace(outcome, position=outcome.position + by)

"""Judging a batch of calls before its turn to write, from what is known of the log as it was.

Whoever waits for the log's lock then waits only for the batch before to be stored, not for it
to be judged. What was found ahead holds if nothing that bears on it entered the log meanwhile;
only the positions move. Else, and for all that is not so simple, everything is judged under
the lock.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec
from django.db import DatabaseError, connection

from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Batch, OutOfTurn
from scalewitness.intake.judging import judge
from scalewitness.intake.outcomes import Outcome, Seen, known_among
from scalewitness.intake.submission import Sealed


@dataclass(frozen=True, slots=True)
class Ahead:
    """A batch that was judged, and has yet to be written."""

    prepared: Sequence[Sealed | Refused]
    batch: Batch
    outcomes: list[Outcome]

    def write(self) -> list[Outcome] | None:
        """Lock the log and store everything, in the transaction that is open. None, and
        nothing is stored, where it would not come out the same any more."""
        moved = self.batch.take_turn()
        if moved is None or known_among(self.prepared):
            self.batch.known.forget()
            return None
        self.batch.flush()
        return [_moved(one, moved) for one in self.outcomes] if moved else self.outcomes


def judged_ahead(prepared: Sequence[Sealed | Refused], batch: Batch) -> Ahead | None:
    """``batch`` is one begun ahead. None where anything but reading is to be done, or an item
    is no call: rules for other kinds read what they and others write."""
    if any(isinstance(one, Sealed) and one.kind != "call_made" for one in prepared):
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

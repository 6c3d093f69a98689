"""A log set back to an earlier day, and what its operator may try then."""

from contextlib import suppress

from django.db import transaction
from tests.ledger.test_tree import NOW, append, tamper
from tests.world import new_id

from scalewitness.domain.translog.checkpoints import Checkpoint as Head
from scalewitness.domain.translog.notes import signed
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import log_signer, sign_checkpoint
from scalewitness.ledger.services.writing import Draft, Writer


class SetBack(Exception):
    """Ends a transaction of its own accord: afterwards the database is as it was before."""


def sign_and_forget(count: int) -> str:
    """Append, sign and give out a checkpoint; then the database is set back to before."""
    notes = []
    with suppress(SetBack), transaction.atomic():
        append(count)
        notes.append(sign_checkpoint(NOW).note)
        raise SetBack
    return notes[0]


def append_others(count: int) -> None:
    """Facts that nobody saw, in the place of those that were lost."""
    with transaction.atomic():
        writer = Writer()
        for _ in range(count):
            writer.add(Draft(new_id(), "visit_accepted", None, None, NOW, None, {}), NOW)
        writer.flush()


def without_guards(count: int) -> None:
    """The same, by an operator who takes the fence away, and puts it back."""
    tamper("ledger_fence", "state = 'lifted'")
    append_others(count)
    tamper("ledger_fence", "state = 'raised'")


def signed_now() -> str:
    """A checkpoint over the log as it is, as a witness would have kept it."""
    head = tip()
    return str(signed(Head(log_signer().name, head.size, head.root).body(), log_signer()))

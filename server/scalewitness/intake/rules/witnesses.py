"""Witness keys that their keeper lost."""

from typing import cast

from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import WitnessRevoked
from scalewitness.intake.batch import Batch
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.queries.witnesses import witness_of
from scalewitness.ledger.services import cosigning


def witness_revoked(fact: Sealed, batch: Batch) -> int:
    """By whoever registered it; its machine cannot be asked. What it saw of smaller trees, and
    sent before, goes on vouching for them."""
    body, keeper = cast(WitnessRevoked, fact.body), batch.actor.keeper
    witness = witness_of(keeper, body.key) if keeper and fact.about == keeper else None
    if witness is None:
        raise NotFound()
    if hasattr(witness, "end"):
        raise NotNow("This witness key has been revoked.")
    if body.size is not None and body.size > batch.log_size:
        raise OutOfRange("The log has not come that far.", pointer="/body/size")
    logged = batch.log(fact)
    cosigning.store_end(logged, logged.position + 1 if body.size is None else body.size)
    return logged.position

"""What the buyer says of an animal that, by its seller's word, they returned."""

from typing import cast
from uuid import UUID

from scalewitness.domain.errors import NotNow, OutOfRange
from scalewitness.domain.facts import ReturnAnswered
from scalewitness.domain.returns import ANSWERED
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.sales import sale_for
from scalewitness.intake.submission import Sealed
from scalewitness.letters.returns import notify_of_answer
from scalewitness.sales.queries.returns import returns_of
from scalewitness.sales.services import store_step


def return_answered(fact: Sealed, batch: Batch) -> int:
    """Once, while it is open to them."""
    sale, body = sale_for(fact, batch), cast(ReturnAnswered, fact.body)
    claimed = next((one for one in returns_of(sale, batch.now) if one.id == UUID(body.move)), None)
    if claimed is None:
        raise OutOfRange("Nobody says that such an animal was returned.", pointer="/body/move")
    if claimed.state in ANSWERED:
        raise NotNow("This has its answer already.")
    if claimed.state == "silent":
        raise NotNow(
            "The time to answer is over. If you did not return it, report a problem instead."
        )
    logged = batch.log(fact)
    store_step(sale, fact.kind, logged)
    notify_of_answer(sale, claimed, logged, batch.letters)
    return logged.position

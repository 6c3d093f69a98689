"""What the buyer says of the snake that arrived: the one that was sold, or another."""

from datetime import timedelta
from typing import cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.domain.arrivals import MOST_A_DAY, compare_on_arrival
from scalewitness.domain.errors import NotNow, OutOfRange
from scalewitness.domain.facts import ArrivalCompared
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.sales import sale_for
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.arrivals import notify_of_arrival
from scalewitness.sales.models import Sale
from scalewitness.sales.queries.arrivals import (
    Arrival,
    arrivals_of,
    photos_offered,
    transponders_of,
)
from scalewitness.sales.queries.returns import came_back
from scalewitness.sales.services import store_step


def arrival_compared(fact: Sealed, batch: Batch) -> int:
    """From the payment on: a seller who records no handover cannot keep a buyer from saying it.
    Whoever thinks again says it anew."""
    sale, body = sale_for(fact, batch), cast(ArrivalCompared, fact.body)
    animal = sale.animals.filter(pk=UUID(body.animal)).first()
    if animal is None:
        raise OutOfRange("That is no animal of this sale.", pointer="/body/animal")
    if came_back(sale, animal, batch.now):
        raise NotNow("This animal was returned; what was said of its arrival stays as it is.")
    _check_anew(arrivals_of(sale, animal.pk), body, batch)
    _check_read(animal, sale, body)
    if body.photo and body.photo not in {str(one.pk) for one in photos_offered(animal, sale)}:
        raise OutOfRange(
            "No such photo of it was on record before the offer.", pointer="/body/photo"
        )
    logged = cast(Logged[ArrivalCompared], batch.log(fact))
    store_step(sale, fact.kind, logged)
    notify_of_arrival(sale, animal, logged, batch.letters)
    return logged.position


def _check_anew(before: list[Arrival], body: ArrivalCompared, batch: Batch) -> None:
    if before and (before[-1].answer, before[-1].read) == (body.answer, body.read or ""):
        raise NotNow("You have said so already.")
    lately = [one for one in before if one.at > batch.now - timedelta(days=1)]
    if len(lately) >= MOST_A_DAY:
        raise NotNow("You have answered several times today; think it over until tomorrow.")


def _check_read(animal: Animal, sale: Sale, body: ArrivalCompared) -> None:
    if body.read is None or body.answer != "same":
        return
    codes = transponders_of(animal, sale)
    if compare_on_arrival(body.read, *codes) == "another":
        on_record = " or ".join([*codes[0], *codes[1]])
        raise OutOfRange(
            f"You read {body.read}; the record says {on_record}. So it is another snake, or one "
            "digit is wrong. Read it once more. If it stays so, say that it is another.",
            pointer="/body/read",
        )

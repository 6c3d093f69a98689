"""An animal that died, is lost or was stolen, and that being put right.

Nothing on record is taken back by it: disclosures stay owed, disputes open, and calls on it are
taken as before, whatever day they are dated, so that nobody can escape one by stating an end.
"""

from collections.abc import Iterable
from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.domain.errors import NotNow, OutOfRange
from scalewitness.domain.fact_words import ENDED
from scalewitness.domain.facts import AnimalEnded, EndCorrected, SaleHeld
from scalewitness.domain.sales import ENDED as HELD_FOR
from scalewitness.domain.sales import UNPAID
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.animals import stewarded
from scalewitness.intake.submission import Sealed
from scalewitness.letters.ends import notify_of_end
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, sales_of_animal
from scalewitness.sales.services import store_step


def animal_ended(fact: Sealed, batch: Batch) -> int:
    """Said by whoever keeps the animal or is a partner; open offers of it are held."""
    animal, body = stewarded(fact.about, batch), cast(AnimalEnded, fact.body)
    if animal.ended:
        raise NotNow(f"{ENDED[animal.ended]} Say first that it is there again.")
    logged = batch.log(fact)
    services.store_end(animal, logged)
    sales = sales_of_animal(animal.pk)
    _hold(sales, animal.pk, logged.id, batch)
    notify_of_end(animal, logged, body.why, sales, batch.letters)
    return logged.position


def _hold(sales: Iterable[Sale], animal: UUID, cause: UUID, batch: Batch) -> None:
    for sale in sales:
        progress = progress_of(sale)
        if progress.state in UNPAID and HELD_FOR not in progress.held:
            body = SaleHeld(reason=HELD_FOR, animal=str(animal), cause=str(cause))
            store_step(sale, "sale_held", batch.state("sale_held", sale.pk, body))


def end_corrected(fact: Sealed, batch: Batch) -> int:
    """It is there again. What was held stays held until a new offer."""
    animal, body = stewarded(fact.about, batch), cast(EndCorrected, fact.body)
    if not animal.ended:
        raise NotNow("Nobody says that it died, or is lost or stolen.")
    if animal.ended == "died" and body.why == "found":
        raise OutOfRange(
            "What died is not found again; say that it was stated by mistake.", pointer="/body/why"
        )
    logged = batch.log(fact)
    services.store_end_correction(animal, logged)
    notify_of_end(animal, logged, body.why, sales_of_animal(animal.pk), batch.letters)
    return logged.position

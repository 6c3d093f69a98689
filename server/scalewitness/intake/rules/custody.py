"""Moves: within one's own collections, to a buyer, on loan, and back."""

from typing import cast
from uuid import UUID

from scalewitness.animals import services
from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import animal_of, collection_of, is_steward, lender_of
from scalewitness.domain.errors import NotAllowed, NotFound, NotNow
from scalewitness.domain.facts import CustodyChanged
from scalewitness.domain.returns import BACK
from scalewitness.domain.sales import HANDED_OVER, RELIED_ON
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch, Touched
from scalewitness.intake.rules.sales import refuse_promised
from scalewitness.intake.submission import Sealed
from scalewitness.letters.returns import notify_of_return
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, promised, sale_of
from scalewitness.sales.queries.returns import returns_of
from scalewitness.sales.services import lasting_link


def custody_changed(fact: Sealed, batch: Batch) -> int:
    """Said by whoever keeps the animal now; the receiving side must want it."""
    body = cast(CustodyChanged, fact.body)
    animal = animal_of(fact.about)
    if animal is None or animal.collection.keeper_id != batch.actor.keeper:
        raise NotFound()
    target = collection_of(UUID(body.to))
    if target is None or not _may_receive(animal, target, body, batch):
        raise NotAllowed(
            "An animal moves to a collection of your own or one you are a partner in, to its "
            "buyer's once paid for, and back to where it came from.",
            pointer="/body/to",
        )
    if not _keeps_word(animal, target, body, batch):
        refuse_promised(animal, batch, "move", target.pk)
    sale, denied_before = _returned_from(animal, body, batch)
    sellers_word = sale is not None and sale.collection.keeper_id == animal.collection.keeper_id
    logged = batch.log(fact)
    services.store_move(animal, logged)
    batch.restated[animal.pk] = Touched(fact.id, fact.kind)  # whose word counts of it is another's
    if sale is not None and sellers_word:
        link = lasting_link(sale, fresh_id(batch.now), batch.now)
        notify_of_return(sale, animal, logged, link, batch.letters, denied_before=denied_before)
    return logged.position


def _keeps_word(animal: Animal, target: Collection, body: CustodyChanged, batch: Batch) -> bool:
    """Whether a buyer who has confirmed, paid for or been given it could be content: it goes to
    them, comes back from them, or is with them already, whatever room its seller keeps it in."""
    sale = promised(animal, batch.now)
    if sale is None or target.keeper_id == sale.buyer.keeper_id:
        return True
    if progress_of(sale).state not in HANDED_OVER:
        return False
    if body.why == "returned" and body.sale == str(sale.pk):
        return True
    return target.keeper_id == animal.collection.keeper_id


def _returned_from(animal: Animal, body: CustodyChanged, batch: Batch) -> tuple[Sale | None, bool]:
    """The sale that it comes back from, and whether its buyer denied that before. It does so once,
    and while its buyer can still deny it, nobody says it again."""
    sale = _sale_of(animal, body) if body.why == "returned" else None
    states = {one.state for one in returns_of(sale, batch.now, animal.pk)} if sale else set()
    if "waiting" in states:
        raise NotNow("You have said so already; its buyer can still deny it.")
    if states & BACK:
        raise NotNow("It is back from this sale already.")
    return sale, "denied" in states


def _may_receive(animal: Animal, target: Collection, body: CustodyChanged, batch: Batch) -> bool:
    sale = _sale_of(animal, body)
    if body.why == "returned":
        return _came_from(animal, target, sale)
    if target.pk == animal.collection_id:
        return False
    # Its keeper made the sender a partner there: they let each other's animals in.
    if is_steward(batch.actor.keeper, target, batch.now):
        return True
    if sale is None or sale.collection_id != animal.collection_id:
        return False
    return sale.buyer.keeper_id == target.keeper_id and progress_of(sale).state in RELIED_ON


def _sale_of(animal: Animal, body: CustodyChanged) -> Sale | None:
    sale = sale_of(UUID(body.sale)) if body.sale else None
    return sale if sale and sale.animals.filter(pk=animal.pk).exists() else None


def _came_from(animal: Animal, target: Collection, sale: Sale | None) -> bool:
    """Back from a loan; or back to its seller from a sale: by the buyer, or, where the buyer
    keeps no collection here and it never left this one, by the seller."""
    if sale is not None:
        return progress_of(sale).state in HANDED_OVER and target.pk == sale.collection_id
    if lender := lender_of(animal.pk):
        return lender == target.pk
    return target.pk != animal.collection_id and target.keeper_id == animal.collection.keeper_id

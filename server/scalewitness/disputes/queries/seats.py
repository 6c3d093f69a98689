"""Which buyers have a seat in a dispute, and whom each of them hears.

Somebody who bought the animal too, and still relies on what they were told of it, may speak in a
dispute over another sale. They hear the animal's keeper and their own seller, nobody else's deal.
"""

from datetime import datetime
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import is_steward
from scalewitness.disputes.models import Dispute, Statement
from scalewitness.domain.sales import RELIED_ON
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, sales_of_animal
from scalewitness.sales.queries.returns import came_back

WITH_PARTIES = ("animal__collection", "sale__buyer", "sale__collection", "finding")
"""Read with a dispute wherever it matters who is who in it."""


def seated(dispute: Dispute, now: datetime) -> list[Sale]:
    """The sales whose buyers have a seat, the latest last."""
    return [one for one in sales_of_animal(dispute.animal_id) if _is_seated(one, dispute, now)]


def _is_seated(sale: Sale, dispute: Dispute, now: datetime) -> bool:
    if sale.pk == dispute.sale_id:
        return True
    if progress_of(sale).state not in RELIED_ON or came_back(sale, dispute.animal, now):
        return False
    paid = next(step for step in sale.steps.all() if step.kind == "payment_recorded")
    return not hasattr(dispute, "finding") or paid.position < dispute.finding.position


def purchase_in(dispute: Dispute, keeper: UUID, now: datetime) -> Sale | None:
    """The sale by which somebody with an account has a buyer's seat: the one in dispute before
    others, the latest of several."""
    bought = [one for one in seated(dispute, now) if one.buyer.keeper_id == keeper]
    return max(bought, key=lambda one: one.pk == dispute.sale_id, default=None)


def may_state(dispute: Dispute, keeper: UUID, now: datetime) -> bool:
    """Whether somebody with an account has a side in it: keeps the animal, sold or bought it."""
    if is_steward(keeper, dispute.animal.collection, now):
        return True
    if dispute.sale is not None and is_steward(keeper, dispute.sale.collection, now):
        return True
    return purchase_in(dispute, keeper, now) is not None


def disputes_over(sale: Sale, animal: Animal, now: datetime) -> list[Dispute]:
    """In which the buyer of that sale has a seat, the newest first."""
    rows = Dispute.objects.filter(animal=animal).order_by("-position")
    found = rows.select_related(*WITH_PARTIES)
    return [one for one in found if _is_seated(sale, one, now)]


def open_to_buyer(sale: Sale, animal: Animal, now: datetime) -> Dispute | None:
    """The open dispute, if there is one in which they have a seat."""
    over = disputes_over(sale, animal, now)
    return next((one for one in over if not hasattr(one, "finding")), None)


def is_buyer_of(sale: Sale, by: UUID) -> bool:
    return by in {sale.buyer_id, sale.buyer.keeper_id}


def part_for(sale: Sale, dispute: Dispute, by: UUID, now: datetime) -> str | None:
    """What somebody who speaks in it is to the buyer of that sale; None where it is of another
    deal, and not for them."""
    if is_buyer_of(sale, by):
        return "you"
    if is_steward(by, sale.collection, now):
        return "the seller"
    return "the keeper" if is_steward(by, dispute.animal.collection, now) else None


def part_in(dispute: Dispute, by: UUID) -> str:
    """What somebody who speaks in it is to it."""
    parts: dict[UUID | None, str] = {dispute.animal.collection.keeper_id: "the keeper"}
    if dispute.sale:
        parts |= {dispute.sale.collection.keeper_id: "the seller"}
        parts |= {dispute.sale.buyer_id: "the buyer", dispute.sale.buyer.keeper_id: "the buyer"}
    if by in parts:
        return parts[by]
    other = any(is_buyer_of(one, by) for one in sales_of_animal(dispute.animal_id))
    return "another buyer" if other else "a partner of theirs"


def statements_for_seller(dispute: Dispute, rows: list[Statement]) -> list[Statement]:
    """Without those of other buyers, whose deals are not theirs."""
    return [one for one in rows if part_in(dispute, one.by) != "another buyer"]

"""Letters about sales, to the seller or the buyer."""

from datetime import datetime, timedelta
from typing import Any, Literal, TypeAlias
from uuid import UUID, uuid5

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import Body, OfferMade, Representation
from scalewitness.domain.sales import RELIED_ON
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import as_sold
from scalewitness.letters.owing import Owing
from scalewitness.mail.queries import was_written_to
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import progress_of
from scalewitness.sales.queries.returns import last_return

Attempt: TypeAlias = Literal["offer", "move"]

TO_SELLER = frozenset({"sale_confirmed", "check_requested", "offer_declined"})
ATTEMPT_LETTERS_EVERY = timedelta(days=1)
"""Our judgement: the first tells what there is to ask the seller."""
TO_BUYER = frozenset({"offer_withdrawn", "payment_recorded", "handed_over"})


def send_offer(sale: Sale, fact: Logged[OfferMade], link: OfferLink, owing: Owing) -> None:
    owing.owe(
        "offer",
        cause=fact.id,
        recipient=sale.buyer_id,
        to=sale.buyer.email,
        context={
            **about_sale(sale),
            "represents": _represented(sale, fact.body.represents, owing.now),
            "claims": len(fact.body.claims),
            "recheck_days": fact.body.recheck_days,
            "remedy": fact.body.remedy,
            "days_to_pay": fact.body.days_to_pay,
            "expires": fact.body.expires,
            "position": fact.position,
            "receipt": str(fact.id),
            "link": str(link.pk),
        },
        about=f"deal {sale.pk}",
    )


def notify_of_step(
    sale: Sale, kind: str, fact: Logged[Body], owing: Owing, link: OfferLink | None = None
) -> None:
    """The other side hears of a step; ``link``: the buyer's way in from now on."""
    if kind in TO_SELLER:
        notify_seller(sale, kind, fact.id, {"receipt": str(fact.id)}, owing)
    elif kind in TO_BUYER:
        notify_buyer(sale, kind, fact.id, {"link": str(link.pk)} if link else {}, owing)


def notify_of_hold(
    sale: Sale, cause: UUID, was: Representation, now: Representation, owing: Owing
) -> None:
    """Both sides hear that the sale is held and why."""
    change = {"was": was.label, "now": now.label, "animal": _animal(sale, was.animal)}
    notify_buyer(sale, "sale_held", cause, change, owing)
    notify_seller(sale, "sale_held_seller", cause, change, owing)


def notify_of_lapse(sale: Sale, fact: Logged[Body], owing: Owing) -> None:
    """Both sides hear that a confirmed sale is over, as no payment was recorded."""
    more = {"seller_email": sale.collection.keeper.email}
    notify_buyer(sale, "sale_lapsed", fact.id, more, owing)
    notify_seller(sale, "sale_lapsed_seller", fact.id, {}, owing)


def notify_of_attempt(sale: Sale, animal: Animal, how: Attempt, to: UUID, owing: Owing) -> None:
    """The buyer hears that their animal was nearly let go to somebody else: of the first attempt
    of a day, so that nobody is worn out with letters."""
    if was_written_to(sale.buyer_id, "sold_elsewhere", owing.now - ATTEMPT_LETTERS_EVERY):
        return
    more = {
        "animal": as_sold(animal, sale),
        "how": how,
        "paid": progress_of(sale).state in RELIED_ON,
        "at": owing.now.isoformat(),
        "seller_email": sale.collection.keeper.email,
    }
    notify_buyer(sale, "sold_elsewhere", uuid5(sale.pk, f"{how} {animal.pk} {to}"), more, owing)


def notify_buyer(sale: Sale, kind: str, cause: UUID, context: dict[str, Any], owing: Owing) -> None:
    owing.owe(
        kind,
        cause=cause,
        recipient=sale.buyer_id,
        to=sale.buyer.email,
        context=about_sale(sale) | context,
        about=f"deal {sale.pk}",
    )


def notify_seller(
    sale: Sale, kind: str, cause: UUID, context: dict[str, Any], owing: Owing
) -> None:
    keeper = sale.collection.keeper
    owing.owe(
        kind,
        cause=cause,
        recipient=keeper.pk,
        to=keeper.email,
        context=about_sale(sale) | {"to_name": keeper.name} | context,
        about=f"deal {sale.pk}",
    )


def about_sale(sale: Sale) -> dict[str, Any]:
    animals = sale.animals.prefetch_related("identifiers", "custody").order_by("pk")
    # A copy with its steps: of the sale itself more may be stored before it is read again.
    known = Sale.objects.prefetch_related("steps").get(pk=sale.pk)
    return {
        "sale": str(sale.pk),
        "to_name": sale.buyer.name,
        "buyer_name": sale.buyer.name,
        "seller_name": sale.collection.keeper.name,
        "animals": [as_sold(one, known) for one in animals],
    }


def _animal(sale: Sale, animal: str) -> dict[str, Any]:
    return as_sold(sale.animals.get(pk=animal), sale)


def _represented(
    sale: Sale, represents: tuple[Representation, ...], now: datetime
) -> list[dict[str, Any]]:
    return [
        {
            "animal": _animal(sale, one.animal),
            "label": one.label,
            "p_male": one.p_male,
            "returned": last.in_words if (last := last_return(UUID(one.animal), now)) else "",
        }
        for one in represents
    ]

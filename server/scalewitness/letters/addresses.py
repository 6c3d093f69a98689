"""Where a buyer's letters go. The buyer may say so at any time; the seller only before an offer
was made or after the address was found not to work, so that nobody can lead a disclosure away
from the person it is owed to.
"""

from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import transaction

from scalewitness.domain.errors import NotNow
from scalewitness.fresh_ids import fresh_id
from scalewitness.mail.queries import came_back_from
from scalewitness.mail.services import queueing as mail
from scalewitness.sales.models import AddressChange, Sale
from scalewitness.sales.queries import changes_lately, progress_of
from scalewitness.sales.services import change_address

MOST_AN_HOUR: Final = 5
"""Changes of one buyer's address (our judgement): each sends a letter to an address that the
reader of a link typed."""


def send_elsewhere(sale: Sale, email: str, now: datetime, *, seller: UUID | None) -> int:
    """Send the buyer's letters to another address, with those that reached nobody; how many
    go again. Whoever reads the old address is told, and whoever reads the new one: so a mistyped
    address shows at once. ``seller``: who asks; None: the buyer.

    Raises:
        NotNow: the seller asks, and the address works as far as is known; or it was changed
            several times within the hour.
    """
    with transaction.atomic():
        buyer, old = sale.buyer, sale.buyer.email
        by_seller = seller is not None
        if by_seller and not _may_correct(sale):
            raise NotNow(
                "Only the buyer can change an address that works. They can do so on the page "
                "their letters lead to."
            )
        if not by_seller and sale.by_code and progress_of(sale).state == "offered":
            # Else whoever was passed the link could have the code sent to themselves.
            raise NotNow(
                "A code is asked for with the confirmation, so the address stays until then. "
                "Decline, and ask the seller for an offer to the other address."
            )
        if email == old:
            return 0
        if changes_lately(buyer, now) >= MOST_AN_HOUR:
            raise NotNow("The address was changed several times within the hour; wait a little.")
        again = mail.readdress(buyer.pk, email, now)
        change = change_address(buyer, email, fresh_id(now), seller, now)
        for_old = {
            "to_name": buyer.name,
            "sale": str(sale.pk),
            "seller_name": sale.collection.keeper.name,
            "by_seller": by_seller,
            "at": now.isoformat(),
        }
        _tell("address_changed", old, for_old, change, now)
        if progress_of(sale).state != "draft":  # else the offer goes there
            # Whoever reads it may know nothing of the sale, so it names nobody.
            for_new = {"to_name": "reader", "at": now.isoformat()}
            _tell("address_in_use", email, for_new, change, now)
    mail.wake()
    return again


def _tell(
    kind: str, to: str, context: dict[str, Any], change: AddressChange, now: datetime
) -> None:
    mail.queue(
        id=fresh_id(now),
        kind=kind,
        cause=change.pk,
        recipient=change.buyer_id,
        to=to,
        context=context,
        now=now,
    )


def _may_correct(sale: Sale) -> bool:
    draft = progress_of(sale).state == "draft"
    return draft or came_back_from(sale.buyer_id, sale.buyer.email)

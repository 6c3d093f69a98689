"""Opening a buyer's link."""

from datetime import datetime

from django.utils import timezone

from scalewitness.domain.errors import LinkGone
from scalewitness.intake.batch import Actor
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import link_behind


def opened(token: str, purpose: str | None = None, now: datetime | None = None) -> OfferLink:
    """The live link, of that purpose or any.

    Raises:
        LinkGone: forged, unknown, expired, revoked or made for something else.
    """
    link = link_behind(token, now or timezone.now())
    if purpose is not None and link.purpose != purpose:
        raise LinkGone()
    return link


def buyer_of(sale: Sale) -> Actor:
    """Whoever holds the link is the buyer."""
    return Actor(buyer=sale.buyer_id, sale=sale.pk)

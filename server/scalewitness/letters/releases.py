"""Letters about the release of what was paid for: by its buyer, at its seller's word."""

from scalewitness.domain.facts import Body, ReleaseAsked
from scalewitness.domain.sales import ASK_AGAIN_AFTER
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer, notify_seller
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import Release


def notify_of_release_asked(
    sale: Sale, fact: Logged[ReleaseAsked], link: OfferLink, owing: Owing
) -> None:
    """The buyer hears what the seller says of their payment, and that it rests with them."""
    more = {"why": fact.body.why, "at": fact.received_at.isoformat(), "link": str(link.pk)}
    notify_buyer(sale, "release_asked", fact.id, more, owing)


def notify_of_release_answer(
    sale: Sale, asked: Release, fact: Logged[Body], owing: Owing, *, agrees: bool
) -> None:
    more = {"why": asked.why, "agrees": agrees, "days": ASK_AGAIN_AFTER.days}
    notify_seller(sale, "release_answered", fact.id, more, owing)
    if agrees:  # so that whoever did not agree learns that somebody did in their name
        more |= {"seller_email": sale.collection.keeper.email}
        notify_buyer(sale, "released", fact.id, more, owing)

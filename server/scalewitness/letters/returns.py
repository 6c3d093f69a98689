"""Letters about an animal that came back from its sale, by its seller's word."""

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import CustodyChanged, ReturnAnswered
from scalewitness.domain.returns import OPEN_FOR
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import as_sold
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer, notify_seller
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries.returns import Return


def notify_of_return(
    sale: Sale,
    animal: Animal,
    fact: Logged[CustodyChanged],
    link: OfferLink,
    owing: Owing,
    *,
    denied_before: bool,
) -> None:
    """The buyer hears what the seller says, and how to confirm or deny it."""
    more = {
        "animal": as_sold(animal, sale),
        "denied_before": denied_before,
        "at": fact.received_at.isoformat(),
        "days": OPEN_FOR.days,
        "link": str(link.pk),
    }
    notify_buyer(sale, "return_claimed", fact.id, more, owing)


def notify_of_answer(
    sale: Sale, claimed: Return, fact: Logged[ReturnAnswered], owing: Owing
) -> None:
    more = {"animal": as_sold(claimed.animal, sale), "answer": fact.body.answer}
    notify_seller(sale, "return_answered", fact.id, more, owing)

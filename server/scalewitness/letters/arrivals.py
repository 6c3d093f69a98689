"""Letters about what the buyer says of the snake that arrived."""

from scalewitness.animals.models import Animal
from scalewitness.domain.facts import ArrivalCompared
from scalewitness.fresh_ids import fresh_id
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.animals import as_sold
from scalewitness.letters.owing import Owing
from scalewitness.letters.sales import notify_buyer, notify_seller
from scalewitness.sales.models import Sale
from scalewitness.sales.queries.arrivals import last_arrivals, recheck_until
from scalewitness.sales.services import lasting_link


def notify_of_arrival(
    sale: Sale, animal: Animal, fact: Logged[ArrivalCompared], owing: Owing
) -> None:
    """The seller hears it. So does the buyer, as whoever has their link can say it for them."""
    until = recheck_until(sale)
    more = {
        "animal": as_sold(animal, sale),
        "answer": fact.body.answer,
        "in_words": last_arrivals(sale)[animal.pk].in_words,
        "receipt": str(fact.id),
    }
    notify_seller(sale, "arrival_compared", fact.id, more, owing)
    more |= {
        "until": until.isoformat() if until else "",
        "seller_email": sale.collection.keeper.email,
        "link": str(lasting_link(sale, fresh_id(owing.now), owing.now).pk),
    }
    notify_buyer(sale, "arrival_compared_buyer", fact.id, more, owing)

"""What the readers of a sale, a dispute or a disclosure know an animal by."""

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import title_of
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import Seat
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import codes_known, still_there


def title_in(sale: Sale, animal: Animal) -> str:
    """What the parties to a sale know an animal by."""
    return title_of(animal, named=still_there(animal, sale), codes=codes_known(animal, sale))


def disputed(dispute: Dispute, seat: Seat) -> str:
    """What the reader of a dispute knows its animal by."""
    if seat == "seller" and dispute.sale is not None:
        return title_in(dispute.sale, dispute.animal)
    return title_of(dispute.animal)


def is_open(disclosure: Disclosure) -> bool:
    return not hasattr(disclosure, "acknowledgement")

"""What is owed to a buyer because of a change: stated, kept, and with their way to it."""

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disclosures.services import disclosure, disclosure_row
from scalewitness.domain.facts import DisclosureOwed
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.letters.disclosures import Owed
from scalewitness.sales.models import Sale
from scalewitness.sales.services import new_lasting_link


def owe_disclosure(body: DisclosureOwed, sale: Sale, animal: Animal, batch: Batch) -> Owed:
    """In the transaction of its cause. Its link is for the caller to store."""
    logged = batch.state("disclosure_owed", fresh_id(batch.now), body)
    made = disclosure(logged)
    batch.keep(Disclosure, disclosure_row(made))
    made.sale, made.animal, made.to = sale, animal, sale.buyer
    return Owed(made, logged.id, new_lasting_link(sale, fresh_id(batch.now), batch.now))

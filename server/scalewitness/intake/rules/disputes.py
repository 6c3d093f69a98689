"""Disputes opened by a party, and what the parties state in them."""

from typing import cast
from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import animal_of, is_steward
from scalewitness.disputes import services
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import dispute_of, open_dispute_on
from scalewitness.disputes.queries.seats import may_state, seated
from scalewitness.domain.errors import NotFound, NotNow, OutOfRange
from scalewitness.domain.facts import DisputeOpened
from scalewitness.domain.sales import LIVE
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.ids import check_unused
from scalewitness.intake.rules.sales import is_buyer
from scalewitness.intake.submission import Sealed
from scalewitness.letters.animals import concerned
from scalewitness.letters.disputes import (
    notify_of_dispute,
    notify_of_statement,
    tell_buyers_of_dispute,
)
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, sale_of


def dispute_opened(fact: Sealed, batch: Batch) -> int:
    """A party objects: the keeper, a partner, or a buyer about the animal they were sold."""
    body = cast(DisputeOpened, fact.body)
    animal = animal_of(UUID(body.animal))
    if animal is None or not _is_party(animal, body, batch):
        raise NotFound()
    if body.ground != "party_objects" or body.cause is not None:
        raise OutOfRange("A party opens a dispute by objecting.", pointer="/body/ground")
    check_unused(fact.about, batch)
    if open_dispute_on(animal.pk) is not None:
        raise NotNow("A dispute on this animal is already open.")
    logged = batch.log(fact)
    opened = services.store_dispute(logged)
    notify_of_dispute(opened, concerned(animal, batch.letters), batch.letters)
    tell_buyers_of_dispute(opened, logged, batch.letters)
    return logged.position


def _is_party(animal: Animal, body: DisputeOpened, batch: Batch) -> bool:
    if body.sale is None:
        return is_steward(batch.actor.keeper, animal.collection, batch.now)
    sale = sale_of(UUID(body.sale))
    if sale is None or not sale.animals.filter(pk=animal.pk).exists():
        return False
    if progress_of(sale).state not in LIVE:
        return False  # a draft, or an offer that came to nothing, makes nobody a party
    return _is_party_to(sale, batch)


def _is_party_to(sale: Sale, batch: Batch) -> bool:
    return is_buyer(sale, batch.actor) or is_steward(batch.actor.keeper, sale.collection, batch.now)


def statement_made(fact: Sealed, batch: Batch) -> int:
    """Either side makes its statement, until the finding, and so does whoever bought the animal
    before and relies on it; again if there is more."""
    dispute = dispute_of(fact.about)
    if dispute is None or not _is_side(dispute, batch):
        raise NotFound()
    if hasattr(dispute, "finding"):
        raise NotNow("This dispute already has its finding.")
    logged = batch.log(fact)
    services.store_statement(logged)
    notify_of_statement(dispute, logged, batch.letters)
    return logged.position


def _is_side(dispute: Dispute, batch: Batch) -> bool:
    keeper = batch.actor.keeper
    if keeper is not None:
        return may_state(dispute, keeper, batch.now)
    return any(is_buyer(one, batch.actor) for one in seated(dispute, batch.now))

"""A payment that was recorded by mistake or paid back: its buyer releases the animals, or not."""

from typing import cast

from scalewitness.domain.errors import NotNow, OutOfRange
from scalewitness.domain.facts import ReleaseAgreed, ReleaseAsked, ReleaseDenied
from scalewitness.domain.sales import ASK_AGAIN_AFTER
from scalewitness.fresh_ids import fresh_id
from scalewitness.intake.batch import Batch
from scalewitness.intake.rules.sales import sale_for
from scalewitness.intake.submission import Sealed
from scalewitness.ledger.services.writing import Logged
from scalewitness.letters.releases import notify_of_release_answer, notify_of_release_asked
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import Release, last_release, readdressed_by_seller, still_there
from scalewitness.sales.services import lasting_link, store_step


def release_asked(fact: Sealed, batch: Batch) -> int:
    """Now and then, and while the animals are with the seller: who has them returns them."""
    sale = sale_for(fact, batch)
    before = last_release(sale)
    if before is not None and before.at + ASK_AGAIN_AFTER > batch.now:
        raise NotNow(
            f"You asked for that within the last {ASK_AGAIN_AFTER.days} days. Until the buyer "
            "agrees, it stays theirs; they can still do so."
        )
    _check_at_home(sale)
    logged = cast(Logged[ReleaseAsked], batch.log(fact))
    store_step(sale, fact.kind, logged)
    link = lasting_link(sale, fresh_id(batch.now), batch.now)
    notify_of_release_asked(sale, logged, link, batch.letters)
    return logged.position


def release_agreed(fact: Sealed, batch: Batch) -> int:
    """Also after a denial: a hasty no can become a yes."""
    sale = sale_for(fact, batch)
    asked = _asked(sale, cast(ReleaseAgreed, fact.body).asked)
    if batch.actor.buyer is not None and readdressed_by_seller(sale):
        raise NotNow(
            "The seller changed the address that your letters go to after you confirmed. So the "
            "record takes this answer from your account alone, not by a link."
        )
    _check_at_home(sale)
    return _answered(fact, sale, asked, batch)


def release_denied(fact: Sealed, batch: Batch) -> int:
    sale = sale_for(fact, batch)
    asked = _asked(sale, cast(ReleaseDenied, fact.body).asked)
    if asked.denied:
        raise NotNow("You have denied this already; you can still agree.")
    return _answered(fact, sale, asked, batch)


def _answered(fact: Sealed, sale: Sale, asked: Release, batch: Batch) -> int:
    logged = batch.log(fact)
    store_step(sale, fact.kind, logged)
    notify_of_release_answer(sale, asked, logged, batch.letters, agrees="agreed" in fact.kind)
    return logged.position


def _asked(sale: Sale, named: str) -> Release:
    found = last_release(sale)
    if found is None or str(found.id) != named:
        raise OutOfRange("That is not what the seller asks now.", pointer="/body/asked")
    return found


def _check_at_home(sale: Sale) -> None:
    if not all(still_there(animal, sale) for animal in sale.animals.all()):
        raise NotNow("An animal of this sale has gone to its buyer. Record the handover instead.")

"""Sales: the writes. A draft is made here; every step after it comes through intake."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

import msgspec
from django.db import transaction

from scalewitness.animals.models import Animal, Collection
from scalewitness.domain.errors import IdReused
from scalewitness.domain.facts import Body
from scalewitness.ledger.services import Logged
from scalewitness.mail.services import link_token
from scalewitness.people.models import Keeper
from scalewitness.people.queries import verified_keeper
from scalewitness.sales.models import Buyer, OfferLink, Sale, SaleAnimal, SaleStep
from scalewitness.sales.queries import hash_of


def draft_sale(
    *,
    sale: UUID,
    collection: Collection,
    animals: Sequence[Animal],
    buyer_id: UUID,
    buyer_name: str,
    buyer_email: str,
    by: Keeper,
    now: datetime,
) -> Sale:
    """A sale before any offer. Repeating it with the same id changes nothing.

    Raises:
        IdReused: the id stands for another sale.
    """
    with transaction.atomic():
        found = Sale.objects.select_related("buyer").filter(pk=sale).first()
        if found is not None:
            if found.collection_id != collection.pk or found.buyer.email != buyer_email:
                raise IdReused()
            return found
        buyer = Buyer.objects.create(
            id=buyer_id, name=buyer_name, email=buyer_email, keeper=verified_keeper(buyer_email)
        )
        made = Sale.objects.create(
            id=sale, collection=collection, buyer=buyer, drafted_by=by, drafted_at=now
        )
        SaleAnimal.objects.bulk_create(SaleAnimal(sale=made, animal=animal) for animal in animals)
    return made


def store_step(sale: Sale, kind: str, fact: Logged[Body]) -> SaleStep:
    return SaleStep.objects.create(
        id=fact.id,
        position=fact.position,
        sale=sale,
        kind=kind,
        by=fact.by,
        at=fact.received_at,
        body=msgspec.to_builtins(fact.body),
    )


def open_link(sale: Sale, *, link: UUID, offer: UUID, purpose: str, expires: datetime) -> OfferLink:
    """A new way in for the buyer."""
    return OfferLink.objects.create(
        id=link,
        sale=sale,
        offer=offer,
        purpose=purpose,
        token_hash=hash_of(link_token(link)),
        expires_at=expires,
    )


def revoke_links(sale: Sale, purpose: str, now: datetime) -> None:
    """Links of this purpose stop working at once."""
    live = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
    live.update(revoked_at=now)

"""Sales: the writes. A draft is made here; every step after it comes through intake."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from uuid import UUID

import msgspec
from django.db import IntegrityError, transaction
from django.utils.crypto import constant_time_compare

from scalewitness.animals.models import Animal, Collection
from scalewitness.domain.erasure import ERASED_NAME, erased_address
from scalewitness.domain.errors import IdReused
from scalewitness.domain.facts import Body
from scalewitness.ledger.queries.entries import is_spoken_for
from scalewitness.ledger.services.writing import Logged
from scalewitness.mail.services.links import code_of
from scalewitness.people.models import Keeper
from scalewitness.people.queries import verified_keeper
from scalewitness.sales.models import (
    AddressChange,
    Buyer,
    ConfirmationCode,
    OfferLink,
    Sale,
    SaleAnimal,
    SaleStep,
)
from scalewitness.sales.queries import offer_in_force

LASTING = timedelta(days=365)
"""How long a buyer's link lasts; each new disclosure brings another."""
CODE_LASTS = timedelta(minutes=30)
CODES_AN_HOUR, ATTEMPTS = 5, 5
"""One in 40,000 to guess in an hour (our judgement)."""


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
    by_code: bool = False,
) -> Sale:
    """A sale before any offer. Repeating it with the same id changes nothing.

    Raises:
        IdReused: the id stands for another sale.
    """
    buyer = Buyer(
        id=buyer_id, name=buyer_name, email=buyer_email, keeper=verified_keeper(buyer_email)
    )
    if not Sale.objects.filter(pk=sale).exists() and is_spoken_for(sale):
        raise IdReused()
    made = Sale(
        id=sale,
        collection=collection,
        buyer=buyer,
        drafted_by=by,
        drafted_at=now,
        by_code=by_code,
    )
    try:
        with transaction.atomic():
            buyer.save(force_insert=True)
            made.save(force_insert=True)
            SaleAnimal.objects.bulk_create(
                SaleAnimal(sale=made, animal=animal) for animal in animals
            )
    except IntegrityError:  # the id is taken; the buyer above was rolled back with it
        made = Sale.objects.select_related("collection", "buyer").get(pk=sale)
        if not _same_draft(made, collection, animals, buyer):
            raise IdReused() from None
    return made


def _same_draft(
    found: Sale, collection: Collection, animals: Sequence[Animal], buyer: Buyer
) -> bool:
    sold = set(found.animals.values_list("pk", flat=True))
    return (
        found.collection_id == collection.pk
        and (found.buyer.name, found.buyer.email) == (buyer.name, buyer.email)
        and sold == {animal.pk for animal in animals}
    )


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
        expires_at=expires,
    )


def lasting_link(sale: Sale, link: UUID, now: datetime) -> OfferLink:
    """The buyer's way in after the offer: to what may change, and to report a problem."""
    made = new_lasting_link(sale, link, now)
    store_links([made])
    return made


def new_lasting_link(sale: Sale, link: UUID, now: datetime) -> OfferLink:
    """As :func:`lasting_link`; there may be hundreds, to be stored together."""
    offer = offer_in_force(sale)
    return OfferLink(
        id=link,
        sale=sale,
        offer=offer.pk if offer else sale.pk,
        purpose="disclosure",
        expires_at=now + LASTING,
    )


def store_links(links: Iterable[OfferLink]) -> None:
    OfferLink.objects.bulk_create(links)


def make_code(sale: Sale, code: UUID, now: datetime) -> ConfirmationCode | None:
    """A new code, which makes those before it useless; None where too many were asked for."""
    lately = ConfirmationCode.objects.filter(sale=sale, made_at__gt=now - timedelta(hours=1))
    if lately.count() >= CODES_AN_HOUR:
        return None
    return ConfirmationCode.objects.create(id=code, sale=sale, made_at=now)


def try_code(sale: Sale, typed: str, now: datetime) -> bool:
    """Whether what was typed has the digits of the newest code. A few failed attempts end it."""
    digits = "".join(one for one in typed if one.isdigit())
    with transaction.atomic():
        newest = ConfirmationCode.objects.select_for_update().filter(sale=sale)
        code = newest.order_by("-made_at", "-pk").first()
        if code is None or code.made_at + CODE_LASTS < now or code.tries >= ATTEMPTS:
            return False
        code.tries += 1
        right = constant_time_compare(digits, code_of(code.pk))
        code.used_at = now if right else None
        code.save(update_fields=["tries", "used_at"])
    return right


def revoke_links(sale: Sale, purpose: str, now: datetime) -> None:
    """Links of this purpose stop working at once."""
    live = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
    live.update(revoked_at=now)


def change_address(
    buyer: Buyer, email: str, change: UUID, by: UUID | None, now: datetime
) -> AddressChange:
    buyer.email = email
    buyer.save(update_fields=["email"])
    return AddressChange.objects.create(id=change, buyer=buyer, by=by, at=now)


def set_reminders(buyer: Buyer, *, wanted: bool) -> None:
    """Whether the buyer is reminded of what they have not acknowledged; disclosures
    themselves cannot be turned off."""
    buyer.reminders = wanted
    buyer.save(update_fields=["reminders"])


def forget_buyer(buyer: Buyer) -> None:
    """Name and address go; the id stays, as the log has it."""
    buyer.name, buyer.email = ERASED_NAME, erased_address(buyer.pk)
    buyer.save(update_fields=["name", "email"])

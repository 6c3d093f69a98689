"""Reading sales: state is always the fold of the logged steps."""

from collections.abc import Iterable
from datetime import datetime
from hashlib import sha256
from uuid import UUID

from django.core.signing import BadSignature
from django.db.models import Exists, OuterRef, Q, QuerySet

from scalewitness.domain.errors import LinkGone
from scalewitness.domain.sales import Progress, Step, fold
from scalewitness.mail.services import is_our_token
from scalewitness.people.queries import active_grants
from scalewitness.sales.models import OfferLink, Sale, SaleStep


def sale_of(sale: UUID) -> Sale | None:
    return Sale.objects.select_related("collection", "buyer").filter(pk=sale).first()


def sales_seen(keeper: UUID, now: datetime) -> QuerySet[Sale]:
    """Sales from collections the keeper holds or is a partner in, newest first."""
    partner = active_grants(keeper, now).filter(
        role="partner", whole=True, collection=OuterRef("collection_id")
    )
    return (
        Sale.objects.filter(Q(collection__keeper=keeper) | Q(Exists(partner)))
        .select_related("collection", "buyer")
        .prefetch_related("steps", "animals")
        .order_by("-drafted_at", "-pk")
    )


def progress_of(sale: Sale) -> Progress:
    return fold(Step(str(step.pk), step.kind, step.body.get("reason")) for step in sale.steps.all())


def sales_of_animal(animal: UUID) -> list[Sale]:
    """Every sale the animal was ever in, in the order drafted."""
    return list(
        Sale.objects.filter(animals=animal)
        .select_related("buyer", "collection")
        .prefetch_related("steps")
        .order_by("drafted_at", "pk")
    )


def offer_in_force(sale: Sale) -> SaleStep | None:
    """The latest offer, whether or not the sale has since gone on."""
    offers = [step for step in sale.steps.all() if step.kind == "offer_made"]
    return offers[-1] if offers else None


def hash_of(token: str) -> bytes:
    return sha256(token.encode()).digest()


def link_behind(token: str, now: datetime) -> OfferLink:
    """The live link a token opens.

    Raises:
        LinkGone: forged, unknown, expired or revoked; one answer for all.
    """
    try:
        is_our_token(token)
    except BadSignature:
        raise LinkGone() from None
    link = (
        OfferLink.objects.select_related("sale__buyer", "sale__collection")
        .filter(token_hash=hash_of(token), revoked_at=None, expires_at__gt=now)
        .first()
    )
    if link is None:
        raise LinkGone()
    return link


def live_links(sales: Iterable[UUID], now: datetime) -> QuerySet[OfferLink]:
    return OfferLink.objects.filter(sale__in=list(sales), revoked_at=None, expires_at__gt=now)

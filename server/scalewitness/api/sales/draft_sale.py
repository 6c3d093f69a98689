"""A sale before any offer."""

from typing import Annotated
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.queries import animals_in
from scalewitness.api.authentication import keeper_of
from scalewitness.api.collections.access import own_collection
from scalewitness.api.operations import operation
from scalewitness.api.reading import Address, Name, Sent, address, body_of, line
from scalewitness.api.shapes.sales import SaleShown, sale
from scalewitness.domain.errors import IdReused, NotFound, OutOfRange
from scalewitness.domain.facts import Id
from scalewitness.fresh_ids import fresh_id
from scalewitness.sales import services


class NewBuyer(Sent, frozen=True, kw_only=True):
    """Whom the offer goes to; needs no account."""

    name: Name
    email: Address


class NewSale(Sent, frozen=True, kw_only=True):
    """``id`` is the client's own; ``animals`` are all of this collection."""

    id: Id
    collection: Id
    animals: Annotated[tuple[Id, ...], Meta(min_length=1, max_length=50)]
    buyer: NewBuyer


@operation(
    "Draft a sale",
    takes=NewSale,
    gives={201: SaleShown},
    refuses=(NotFound, OutOfRange, IdReused),
    throttle="look_up",  # a draft shows whether its buyer has an account
)
def draft_sale(request: Request) -> Response:
    """Nobody hears of a draft. Sending the same again changes nothing."""
    sent, now = body_of(request, NewSale), timezone.now()
    collection = own_collection(request, UUID(sent.collection), "/collection")
    made = services.draft_sale(
        sale=UUID(sent.id),
        collection=collection,
        animals=_animals(collection, sent),
        buyer_id=fresh_id(now),
        buyer_name=line(sent.buyer.name, "/buyer/name"),
        buyer_email=address(sent.buyer.email, "/buyer/email"),
        by=keeper_of(request),
        now=now,
    )
    location = reverse("api:sale", args=[made.pk])
    return Response(sale(made), 201, headers={"Location": location})


def _animals(collection: Collection, sent: NewSale) -> list[Animal]:
    wanted = {UUID(animal) for animal in sent.animals}
    if len(wanted) != len(sent.animals):
        raise OutOfRange("An animal is named twice.", pointer="/animals")
    found = animals_in(collection, wanted)
    if len(found) != len(wanted):
        raise OutOfRange("Not all of these animals are in this collection.", pointer="/animals")
    return found

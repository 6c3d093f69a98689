"""Where a buyer's letters go, stated by the buyer or by the seller."""

from typing import Annotated
from uuid import UUID

from django.utils import timezone
from msgspec import Meta, Struct
from rest_framework.response import Response

from scalewitness.api.reading import Address, Sent, address
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.sales.models import Sale


class NewAddress(Sent, frozen=True, kw_only=True):
    email: Address


class LettersAgain(Struct, frozen=True):
    """How many letters, that had reached nobody, go again to the new address."""

    again: Annotated[int, Meta(ge=0)]


def readdressed(sale: Sale, sent: NewAddress, seller: UUID | None) -> Response:
    """``seller``: who asks; None: the buyer.

    Raises:
        NotNow: it is not theirs to change now.
        OutOfRange: for what is no address.
    """
    email = address(sent.email, "/email")
    return Response(LettersAgain(send_elsewhere(sale, email, timezone.now(), seller=seller)))

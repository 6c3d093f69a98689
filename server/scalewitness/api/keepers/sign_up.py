"""A new account."""

from typing import Annotated

from django.utils import timezone
from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Address, Name, Sent, address, body_of, line
from scalewitness.api.shapes.people import LetterSent
from scalewitness.domain.errors import OutOfRange
from scalewitness.intake.accounts import open_account


class NewKeeper(Sent, frozen=True, kw_only=True):
    """``name`` is what other keepers see beside one's calls."""

    name: Name
    email: Address
    password: Annotated[str, Meta(min_length=1, max_length=200)]


@operation(
    "Open an account",
    takes=NewKeeper,
    gives={202: LetterSent},
    refuses=(OutOfRange,),
    anonymous=True,
    throttle="sign_up",
)
def sign_up(request: Request) -> Response:
    """The answer is the same whether or not the address has an account already; the letter that
    is sent to it says which. A new account can be signed in to at once. It records nothing before
    the address is confirmed by the link in that letter: until then `address_unconfirmed` refuses
    all that is sent, and it can be sent again unchanged."""
    sent = body_of(request, NewKeeper)
    email = address(sent.email, "/email")
    open_account(
        name=line(sent.name, "/name"), email=email, password=sent.password, now=timezone.now()
    )
    return Response(LetterSent(email.lower()), 202)

"""A new account."""

from typing import Annotated

from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Address, Name, Sent, address, body_of, line
from scalewitness.api.shapes.people import Profile, profile
from scalewitness.domain.errors import OutOfRange
from scalewitness.people.services import sign_up as make_account


class NewKeeper(Sent, frozen=True, kw_only=True):
    """``name`` is what other keepers see beside one's calls."""

    name: Name
    email: Address
    password: Annotated[str, Meta(min_length=1, max_length=200)]


@operation(
    "Open an account",
    takes=NewKeeper,
    gives={201: Profile},
    refuses=(OutOfRange,),
    anonymous=True,
    throttle="sign_up",
)
def sign_up(request: Request) -> Response:
    """The address must be verified before others can find the keeper by it."""
    sent = body_of(request, NewKeeper)
    keeper = make_account(
        name=line(sent.name, "/name"),
        email=address(sent.email, "/email"),
        password=sent.password,
    )
    return Response(profile(keeper, verified=False), 201)

"""Another name for oneself."""

from django.utils import timezone
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import (
    Name,
    Sent,
    already_so,
    body_of,
    etag,
    line,
    version_wanted,
)
from scalewitness.api.shapes.people import Profile, profile
from scalewitness.domain.errors import OutOfRange
from scalewitness.people.queries import has_verified_address
from scalewitness.people.services import rename


class ProfileEdit(Sent, frozen=True, kw_only=True):
    """The name other keepers see."""

    name: Name


@operation(
    "Change my name", takes=ProfileEdit, gives={200: Profile}, refuses=(OutOfRange,), edits=True
)
def edit_me(request: Request) -> Response:
    keeper = keeper_of(request)
    name = line(body_of(request, ProfileEdit).name, "/name")
    if not already_so(request, keeper.version, keeper.name == name):
        version = version_wanted(request, keeper.version)
        keeper = rename(keeper, name=name, version=version, now=timezone.now())
    shown = profile(keeper, verified=has_verified_address(keeper))
    return Response(shown, headers=etag(keeper.version))

"""One's own account."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import etag
from scalewitness.api.shapes.people import Profile, profile
from scalewitness.people.queries import has_verified_address


@operation("Show my account", gives={200: Profile})
def show_me(request: Request) -> Response:
    keeper = keeper_of(request)
    shown = profile(keeper, verified=has_verified_address(keeper))
    return Response(shown, headers=etag(keeper.version))

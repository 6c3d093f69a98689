"""Where findings name the keeper's account as one with another."""

from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.one_examiner import Namings, named_as_one
from scalewitness.people.queries import named


@operation("List where I am named as one person with another", gives={200: Namings})
def list_named(request: Request) -> Response:
    """For either account; nobody is told who the other is."""
    return Response(Namings([named_as_one(one) for one in named(keeper_of(request).pk)]))

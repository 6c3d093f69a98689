"""Whom one named to report their calls."""

from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.people import Person, person
from scalewitness.people.queries import practitioners_named_by


class Practitioners(Struct, frozen=True):
    """``items`` by name."""

    items: list[Person]


@operation("List those you named to report their calls", gives={200: Practitioners})
def list_practitioners(request: Request) -> Response:
    """So that somebody who is reported again keeps their id. Erased names are left out."""
    named = practitioners_named_by(keeper_of(request).pk)
    return Response(Practitioners([person(one) for one in named]))

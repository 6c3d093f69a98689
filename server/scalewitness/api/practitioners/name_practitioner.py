"""Naming a veterinarian, laboratory or earlier keeper."""

from typing import Annotated
from uuid import UUID

from msgspec import Meta
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of, line
from scalewitness.api.shapes.people import Person, person
from scalewitness.domain.errors import OutOfRange
from scalewitness.domain.facts import Id
from scalewitness.people import services


class NewPractitioner(Sent, frozen=True, kw_only=True):
    id: Id
    name: Annotated[str, Meta(min_length=1, max_length=120)]


@operation(
    "Name someone whose call you report",
    takes=NewPractitioner,
    gives={201: Person},
    refuses=(OutOfRange,),
)
def name_practitioner(request: Request) -> Response:
    """The log holds the id alone. Sending the same again changes nothing."""
    sent = body_of(request, NewPractitioner)
    name = line(sent.name, "/name", most=120)
    return Response(
        person(services.name_practitioner(keeper_of(request), UUID(sent.id), name)), 201
    )

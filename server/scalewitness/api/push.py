"""Many facts at once, from a client that was out of reach."""

from typing import Annotated, Any

from django.conf import settings
from django.utils import timezone
from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.domain.errors import TooLarge
from scalewitness.intake.services import Outcome, accept


class Push(Sent, frozen=True, kw_only=True):
    """Full envelopes: ``{id, kind, at, about, body, texts}``."""

    items: Annotated[list[Any], Meta(description="At most 500.")]


class Outcomes(Struct, frozen=True):
    """One outcome an item, in the order sent."""

    items: list[Outcome]


@operation("Push facts", takes=Push, gives={200: Outcomes}, refuses=(TooLarge,))
def push(request: Request) -> Response:
    """Each item is accepted, a duplicate, held or refused on its own; one bad item never
    sinks the others. Sending the same again is safe."""
    items = body_of(request, Push).items
    if len(items) > settings.PUSH_LIMIT:
        raise TooLarge(f"A push holds at most {settings.PUSH_LIMIT} items.")
    return Response(Outcomes(accept(items, actor_of(request), timezone.now())))

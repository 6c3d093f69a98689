"""Many facts at once, from a client that was out of reach."""

from typing import Annotated, Any

from django.conf import settings
from django.utils import timezone
from msgspec import Struct, field
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.saying import At, FactId, Texts
from scalewitness.api.shapes.words import one_of
from scalewitness.domain import facts
from scalewitness.domain.errors import TooLarge
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept


class PushItem(Sent, frozen=True, kw_only=True):
    """A fact with all that a path would say: its kind and what it is about."""

    id: FactId
    kind: Annotated[str, one_of(*(facts.BODIES.keys() - facts.SYSTEM_KINDS))]
    at: At
    about: facts.Id
    body: dict[str, Any]
    texts: Texts = field(default_factory=dict)
    sig: facts.Signature | None = None


class Push(Sent, frozen=True, kw_only=True):
    """Facts in the order they are to be taken, at most 500."""

    items: list[PushItem]


class AnyItems(Sent, frozen=True, kw_only=True):
    """A push as it is read: what is wrong with an item is told in its own outcome."""

    items: list[Any]


class Outcomes(Struct, frozen=True):
    """One outcome an item, in the order sent."""

    items: list[Outcome]


@operation("Push facts", takes=Push, gives={200: Outcomes}, refuses=(TooLarge,))
def push(request: Request) -> Response:
    """Each item is accepted, a duplicate, held or refused on its own; one bad item never
    sinks the others. Sending the same again is safe."""
    items = body_of(request, AnyItems).items
    if len(items) > settings.PUSH_LIMIT:
        raise TooLarge(f"A push holds at most {settings.PUSH_LIMIT} items.")
    return Response(Outcomes(accept(items, actor_of(request), timezone.now())))

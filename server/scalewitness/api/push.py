"""Many facts and edits at once, from a client that was out of reach."""

from collections.abc import Iterator
from datetime import datetime
from itertools import groupby
from typing import Annotated, Any
from uuid import UUID

from django.conf import settings
from django.utils import timezone
from msgspec import Meta, Struct, field
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import actor_of, keeper_of
from scalewitness.api.openapi.components import TEMPLATE
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.api.shapes.words import one_of
from scalewitness.api.submission import At, FactId, Texts
from scalewitness.api.throttling import count_items
from scalewitness.domain import facts
from scalewitness.domain.errors import TooLarge
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.records import SentEdit, is_edit, take_edit
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


def _either(*types: type) -> Meta:
    names = [{"$ref": TEMPLATE.format(name=one.__name__)} for one in types]
    return Meta(extra_json_schema={"anyOf": names})


class Push(Sent, frozen=True, kw_only=True):
    """Facts and edits of records in the order they are to be taken, at most 500."""

    items: list[Annotated[Any, _either(PushItem, SentEdit)]]


class AnyItems(Sent, frozen=True, kw_only=True):
    """A push as it is read: what is wrong with an item is told in its own outcome."""

    items: list[Any]


class Outcomes(Struct, frozen=True):
    """One outcome an item, in the order sent."""

    items: list[Outcome]


@operation(
    "Push facts and edits",
    takes=Push,
    mentions=(PushItem, SentEdit),
    gives={200: Outcomes},
    refuses=(TooLarge,),
    throttle="push",
    takes_turn=True,
)
def push(request: Request) -> Response:
    """Each item is accepted, a duplicate, held, in conflict or refused on its own; one bad item
    never sinks the others. Outcomes answer by place: one an item, in the order sent. Sending
    the same again is safe. Edits of records are merged field by field; where someone else set
    the same field since `base_version`, nothing is changed and the outcome holds both values."""
    items = body_of(request, AnyItems).items
    if len(items) > settings.PUSH_LIMIT:
        raise TooLarge(f"A push holds at most {settings.PUSH_LIMIT} items.")
    count_items(keeper_of(request).pk, len(items))
    return Response(
        Outcomes(list(_taken(items, actor_of(request), keeper_of(request).pk, timezone.now())))
    )


def _taken(items: list[Any], actor: Actor, keeper: UUID, now: datetime) -> Iterator[Outcome]:
    """In the order sent: facts next to each other in one batch, each edit by itself."""
    for edits, run in groupby(items, is_edit):
        if edits:
            yield from (take_edit(item, keeper, now) for item in run)
        else:
            yield from accept(list(run), actor, now)

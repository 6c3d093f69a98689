"""What other logs say of an animal, as far as it is quoted here."""

from datetime import datetime
from typing import Annotated
from uuid import UUID

from django.utils import timezone
from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.shapes.animals import IdentifierShown
from scalewitness.calls.queries.visibility import animal_open
from scalewitness.quoted.queries import ShownQuote, quotes_shown


class QuotedOrigin(Struct, frozen=True):
    """The log ``origin``; ``key`` vouches for it. ``known``: the operator of this server trusts
    that key; else the file itself names it, and anybody could have made it."""

    origin: str
    key: str
    known: bool


class QuoteShown(Struct, frozen=True):
    """Quoted at ``position`` of this log; it is as of position ``quoted_as_of`` of the other one,
    ``signed_at`` by its clock, where the animal is ``there``. ``label`` and ``p_male``: of its
    standing there, null where none is stated; counted in none here. ``forked``: its log signed two
    trees of that size. ``newer``: a later state is quoted too."""

    id: UUID
    position: int
    at: datetime
    log: QuotedOrigin
    quoted_as_of: Annotated[int, Meta(ge=-1)]
    there: UUID
    shared: IdentifierShown
    signed_at: datetime | None
    entries: int
    calls: int
    label: str | None
    p_male: str | None
    forked: bool
    newer: bool


class QuotesShown(Struct, frozen=True):
    items: list[QuoteShown]


@operation("List what other logs say of an animal", gives={200: QuotesShown})
def list_quoted(request: Request, id: UUID) -> Response:
    """Records of other logs that were quoted, each as of a state that its log signed. They are
    theirs: nothing of them counts in the standing here."""
    animal = animal_open(keeper_of(request).pk, id, timezone.now())
    return Response(QuotesShown(list(map(_shown, quotes_shown(animal.pk)))))


def _shown(one: ShownQuote) -> QuoteShown:
    return QuoteShown(
        id=one.id,
        position=one.position,
        at=one.at,
        log=QuotedOrigin(one.origin, one.key, one.known),
        quoted_as_of=one.as_of,
        there=one.there,
        shared=IdentifierShown(one.scheme, one.code),
        signed_at=one.signed_at,
        entries=one.entries,
        calls=one.calls,
        label=one.label or None,
        p_male=one.p_male or None,
        forked=one.forked,
        newer=one.newer,
    )

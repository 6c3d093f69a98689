"""What one of the keeper's devices put on record."""

from datetime import datetime
from typing import Any
from uuid import UUID

from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.api.paging import CURSOR, LIMIT, PagePart
from scalewitness.api.parameters import When
from scalewitness.domain.errors import NotFound
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of, sent_from
from scalewitness.people.queries import device_of

SINCE = When("since", "What the record took from then on.")


class SentFact(Struct, frozen=True):
    """``at``: as the device claims; ``received``: when the record took it. ``signed``: whether the
    device signed it."""

    id: UUID
    kind: str
    about: UUID | None
    at: datetime
    received: datetime
    position: int
    body: dict[str, Any]
    signed: bool


class SentFacts(Struct, frozen=True):
    items: list[SentFact]
    next: str | None


@operation(
    "List what a device of mine sent",
    gives={200: SentFacts},
    refuses=(NotFound,),
    query=(SINCE, LIMIT, CURSOR),
)
def list_sent(request: Request, id: UUID) -> Response:
    """The latest first, also of a revoked device: what somebody else sent from it after it was lost
    is withdrawn like anything of one's own."""
    keeper = keeper_of(request)
    if device_of(keeper.pk, id) is None:
        raise NotFound()
    part = PagePart(request, sent_from(keeper.pk, id, SINCE.read(request)))
    return Response(SentFacts(list(map(_sent, part.items)), part.next), headers=part.headers)


def _sent(entry: Entry) -> SentFact:
    leaf = leaf_of(entry)
    return SentFact(
        entry.fact,
        entry.kind,
        entry.about,
        entry.claimed_at,
        entry.received_at,
        entry.position,
        leaf.body,
        leaf.sig is not None,
    )

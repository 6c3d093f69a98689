"""A keeper's own machines that watch the log."""

from datetime import datetime
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.operations import operation
from scalewitness.ledger.queries.witnesses import OwnWitness, witnesses_of

Size = Annotated[int, Meta(ge=0)]


class WitnessKey(Struct, frozen=True):
    """``key`` as it was registered; ``size`` of the largest tree that it cosigned, ``at`` its last
    time by its own clock. ``revoked_from``: what it says of trees of this size or larger is worth
    nothing."""

    key: str
    registered_at: datetime
    size: Size | None
    at: datetime | None
    revoked_from: Size | None


class WitnessKeys(Struct, frozen=True):
    items: list[WitnessKey]


@operation("List my witness keys", gives={200: WitnessKeys})
def list_witness_keys(request: Request) -> Response:
    """One for each machine that cosigned. To revoke one, push the fact `witness_revoked` with its
    key, about yourself."""
    return Response(WitnessKeys([_shown(one) for one in witnesses_of(keeper_of(request).pk)]))


def _shown(one: OwnWitness) -> WitnessKey:
    return WitnessKey(one.key, one.registered_at, one.size, one.at, one.revoked_from)

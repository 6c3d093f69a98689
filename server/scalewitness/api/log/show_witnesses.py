"""How many have seen which head."""

from datetime import datetime
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.log.proving import Hash
from scalewitness.api.operations import operation
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.queries.witnesses import HeadSeen, heads_seen, revoked_witnesses, watching

Count = Annotated[int, Meta(ge=0)]


class SeenHead(Struct, frozen=True):
    """Keepers and outside witnesses that cosigned exactly this head, and when the first and
    the last of them did by their own clocks."""

    size: Count
    root: Hash
    keepers: Count
    outside: Count
    first_at: datetime
    last_at: datetime


class RevokedWitness(Struct, frozen=True):
    """What this witness says of trees of ``size`` or larger is worth nothing: so says the entry
    at ``position``."""

    key: str
    size: Count
    position: Count


class Witnesses(Struct, frozen=True):
    """``keepers`` and ``outside`` ever cosigned a head; ``heads`` latest first, at most 20.
    ``revoked``: witness keys whose keepers lost them, which a reader who trusts them must know."""

    keepers: Count
    outside: Count
    heads: list[SeenHead]
    revoked: list[RevokedWitness]


@operation("Show how many have seen which head", gives={200: Witnesses}, anonymous=True)
def show_witnesses(request: Request) -> Response:
    """For everyone: counts and times, no names. A cosigned head vouches for every smaller
    one, too. The lines themselves are under the checkpoint at `/log/checkpoint`."""
    found = watching()
    revoked = [RevokedWitness(one.key, one.size, one.position) for one in revoked_witnesses()]
    heads = list(map(_shown, heads_seen()))
    return Response(Witnesses(found.keepers, found.outside, heads, revoked))


def _shown(head: HeadSeen) -> SeenHead:
    return SeenHead(
        size=head.size,
        root=encode64(head.root),
        keepers=head.keepers,
        outside=head.outside,
        first_at=head.first_at,
        last_at=head.last_at,
    )

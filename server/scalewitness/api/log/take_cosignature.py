"""A keeper vouches for having seen a head of the log."""

from datetime import datetime
from typing import Annotated

from django.utils import timezone
from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.authentication import keeper_of
from scalewitness.api.log.proving import Hash
from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of, checked
from scalewitness.domain.errors import (
    BadSignature,
    CheckpointUnknown,
    FutureDate,
    NotAllowed,
    OutOfRange,
    WitnessUnknown,
)
from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.keys import read_verifier
from scalewitness.domain.translog.notes import read_line
from scalewitness.ledger.services.cosigning import take_from_keeper

MOST = 2**63 - 1


class CosignatureSent(Sent, frozen=True, kw_only=True):
    """``key`` is the witness's verifier key (C2SP signed-note, type 04), named by the log's
    origin, `/witness/` and 16 random hex digits; ``cosignature`` its line (C2SP
    tlog-cosignature) under the checkpoint of ``size`` and ``root``."""

    key: Annotated[str, Meta(max_length=400)]
    size: Annotated[int, Meta(ge=0, le=MOST)]
    root: Hash
    cosignature: Annotated[str, Meta(max_length=1000)]


class CosignatureTaken(Struct, frozen=True):
    """``at`` is the time the witness signed for."""

    witness: str
    size: int
    at: datetime
    received_at: datetime


@operation(
    "Cosign a checkpoint",
    takes=CosignatureSent,
    gives={201: CosignatureTaken, 200: CosignatureTaken},
    refuses=(OutOfRange, NotAllowed, CheckpointUnknown, WitnessUnknown, BadSignature, FutureDate),
    throttle="witness",
)
def take_cosignature(request: Request) -> Response:
    """The first one also registers its key as one of yours. Everyone is shown the lines,
    nobody whose they are. Sent again for the same size it changes nothing."""
    sent = body_of(request, CosignatureSent)
    key = checked(lambda: read_verifier(sent.key), "/key")
    line = checked(lambda: read_line(sent.cosignature), "/cosignature")
    root = checked(lambda: decode64(sent.root), "/root")
    keeper, now = keeper_of(request).pk, timezone.now()
    kept, new = take_from_keeper(keeper, key, line, sent.size, root, now)
    taken = CosignatureTaken(key.name, kept.size, kept.at, kept.received_at)
    return Response(taken, 201 if new else 200)

"""What the log last vouched for, and the keys to check it by."""

from datetime import datetime
from typing import Annotated

from django.utils import timezone
from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.log.proving import Hash
from scalewitness.api.operations import operation
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.signing import current_checkpoint, keys_of_all_notes


class CheckpointShown(Struct, frozen=True):
    """``note`` is the signed note (C2SP tlog-checkpoint) over the tree of ``size`` entries;
    ``key`` the verifier key it is signed under; ``retired_keys`` those of older notes."""

    origin: str
    size: Annotated[int, Meta(ge=0)]
    root: Hash
    note: str
    signed_at: datetime
    key: str
    retired_keys: list[str]


@operation(
    "Show the latest checkpoint",
    gives={200: CheckpointShown},
    refuses=(Fenced, LogContradicted),
    anonymous=True,
)
def show_checkpoint(request: Request) -> Response:
    """For everyone. The bare note is at `/log/checkpoint`, hash tiles under `/log/tile/`
    (C2SP tlog-tiles). Take the key from somewhere else than from here, once."""
    kept = current_checkpoint(timezone.now())
    present, *retired = keys_of_all_notes()
    shown = CheckpointShown(
        origin=present.name,
        size=kept.size,
        root=encode64(bytes(kept.root)),
        note=cosigned_note(kept),
        signed_at=kept.signed_at,
        key=kept.key,
        retired_keys=list(map(str, retired)),
    )
    return Response(shown)

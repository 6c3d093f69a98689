"""The head of the log."""

from base64 import b64encode
from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.ledger.queries.tree import tip


class LogHead(Struct, frozen=True):
    """Entries so far and the Merkle root over them (RFC 9162, SHA-256, base64)."""

    size: Annotated[int, Meta(ge=0)]
    root: Annotated[str, Meta(extra_json_schema={"contentEncoding": "base64"})]


@operation("Show the log's head", gives={200: LogHead}, anonymous=True)
def show_head(request: Request) -> Response:
    """For everyone: it tells how much is recorded and nothing of what."""
    head = tip()
    return Response(LogHead(head.size, b64encode(head.root).decode()))

"""How the log came by its name: what was closed, and what is missing."""

from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.models import Entry, Succession
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.ledger.queries.origins import successions
from scalewitness.ledger.services.signing import log_key

Base64 = Annotated[str, Meta(extra_json_schema={"contentEncoding": "base64"})]


class ClosedOrigin(Struct, frozen=True):
    """The ``entry`` at ``position`` of the log as it is now, of the kind `origin_succeeded`, in
    its canonical bytes: it names the log that was closed, its last checkpoint known, and how
    many entries are missing. ``statement`` is what its operator says of it."""

    position: Annotated[int, Meta(ge=0)]
    entry: Base64
    statement: str | None


class Origins(Struct, frozen=True):
    """The present ``origin`` and ``key``; ``closed`` are those before it, in order."""

    origin: str
    key: str
    closed: list[ClosedOrigin]


@operation("Show the logs that this one goes on from", gives={200: Origins}, anonymous=True)
def show_origins(request: Request) -> Response:
    """For everyone; mostly there are none. Prove each entry's place from the tiles, and that the
    tree begins with what you saw of the closed log, before you follow."""
    key = log_key()
    closed = list(map(_shown, successions()))
    return Response(Origins(key.name, str(key), closed))


def _shown(one: Succession) -> ClosedOrigin:
    leaf = Entry.objects.values_list("leaf", flat=True).get(position=one.position)
    statement = texts_of([one.id]).get((one.id, "statement"))
    return ClosedOrigin(one.position, encode64(bytes(leaf)), statement)

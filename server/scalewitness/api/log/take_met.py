"""A reader brings a state of the log that somebody else was shown."""

from typing import Annotated

import structlog
from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.reading import Sent, body_of
from scalewitness.domain.errors import BadSignature, Malformed
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.fencing import shortfall
from scalewitness.ledger.services.memory import present_origin
from scalewitness.ledger.services.outside import read_outside

log = structlog.get_logger()


class CheckpointMet(Sent, frozen=True, kw_only=True):
    """``note``: a signed checkpoint of this log, with nothing else."""

    note: Annotated[str, Meta(max_length=20_000)]


class MetAnswer(Struct, frozen=True):
    """Whether the log here begins with it; else ``why`` not."""

    fits: bool
    why: str | None


@operation(
    "Hold the log to a checkpoint that somebody was shown",
    takes=CheckpointMet,
    gives={200: MetAnswer},
    refuses=(BadSignature, Malformed),
    anonymous=True,
    throttle="met",
)
def take_met(request: Request) -> Response:
    """For everyone. One that does not fit is written to the service's log, for its operator: the
    record was set back, or somebody has its key. Whoever shows two logs on purpose would not tell,
    so what counts is that readers compare (server/LOG.md); nothing is kept of who brought it."""
    sent = body_of(request, CheckpointMet)
    met = read_outside(sent.note.encode())
    why = None
    if met.origin == present_origin():
        why = shortfall(met.tree, tip())
    if why is not None:
        log.warning("checkpoint_met_contradicts", why=why, note=met.note)
    return Response(MetAnswer(why is None, why))

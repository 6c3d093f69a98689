"""What single witnesses have seen of the log."""

from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.api.parameters import Text, bad_parameter
from scalewitness.ledger.queries.witnesses import newest_cosigned

MOST = 20
WITNESSES = Text("witnesses", "Names of witnesses, with commas between; at most 20.", most=4_000)


class Cosigned(Struct, frozen=True):
    """Signed notes, each with the line of a witness asked for: the newest that it cosigned."""

    notes: list[str]


@operation(
    "Show what witnesses cosigned", gives={200: Cosigned}, query=(WITNESSES,), anonymous=True
)
def show_cosigned(request: Request) -> Response:
    """For everyone, by the names of keys that one trusts; names of others are left out."""
    names = list(filter(None, WITNESSES.read(request).split(",")))
    if len(names) > MOST:
        raise bad_parameter("witnesses", f"At most {MOST} names.")
    return Response(Cosigned(newest_cosigned(names)))

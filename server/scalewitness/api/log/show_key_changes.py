"""How the log came by its key."""

from msgspec import Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.operations import operation
from scalewitness.ledger.queries.origins import key_changes
from scalewitness.ledger.queries.tree import is_given_out


class KeyChanges(Struct, frozen=True):
    """Signed notes in order, each a checkpoint with the line `key-change` and the verifier key
    that follows, signed under the key before and under that one."""

    changes: list[str]


@operation("Show how the log's key changed", gives={200: KeyChanges}, anonymous=True)
def show_key_changes(request: Request) -> Response:
    """For everyone; mostly there are none. From its tree on the key before has no say. Follow a
    note that is signed under the key you trust, if the log still begins with its tree."""
    return Response(KeyChanges([one.note for one in key_changes() if is_given_out(one.size)]))

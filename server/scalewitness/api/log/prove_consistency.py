"""That the log has only grown."""

from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.log.proving import Hash, as_text, read_from_tree, vouched_size
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Whole, bad_parameter
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.queries.tree import growth_proof, root_at

OLD = Whole("old", "Entries in the earlier tree.", required=True)
NEW = Whole("new", "Entries in the later tree; those of the latest checkpoint when absent.")


class ConsistencyProof(Struct, frozen=True):
    """RFC 9162, 2.1.4: ``proof`` shows the tree of ``old`` entries to be the start of that of
    ``new``. From 0 entries everything grows, by an empty proof."""

    old: Annotated[int, Meta(ge=0)]
    new: Annotated[int, Meta(ge=0)]
    old_root: Hash
    new_root: Hash
    proof: list[Hash]


@operation(
    "Prove that the log has only grown",
    gives={200: ConsistencyProof},
    refuses=(Fenced, LogContradicted),
    query=(OLD, NEW),
    anonymous=True,
)
def prove_consistency(request: Request) -> Response:
    """For everyone: hashes only. At most up to the latest checkpoint."""
    old, new = OLD.need(request), vouched_size(request, NEW)
    if old > new:
        raise bad_parameter("old", f"It is larger than the later tree of {new} entries.")
    return Response(read_from_tree(lambda: _proof(old, new)))


def _proof(old: int, new: int) -> ConsistencyProof:
    old_root, new_root = encode64(root_at(old)), encode64(root_at(new))
    return ConsistencyProof(old, new, old_root, new_root, as_text(growth_proof(old, new)))

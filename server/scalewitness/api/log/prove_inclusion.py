"""That an entry stands where it stands."""

from typing import Annotated

from msgspec import Meta, Struct
from rest_framework.request import Request
from rest_framework.response import Response

from scalewitness.api.log.proving import Hash, as_text, read_from_tree, vouched_size
from scalewitness.api.operations import operation
from scalewitness.api.parameters import Whole, bad_parameter
from scalewitness.domain.errors import Fenced, LogContradicted
from scalewitness.domain.translog.base64s import encode64
from scalewitness.ledger.queries.tree import leaf_hashes, place_proof, root_at

POSITION = Whole("position", "The entry's position, from 0.", required=True)
SIZE = Whole("size", "Entries in the tree; those of the latest checkpoint when absent.")


class InclusionProof(Struct, frozen=True):
    """RFC 9162, 2.1.3: ``proof`` joins ``leaf_hash`` at ``position`` to the ``root`` over the
    first ``size`` entries."""

    position: Annotated[int, Meta(ge=0)]
    size: Annotated[int, Meta(ge=1)]
    leaf_hash: Hash
    root: Hash
    proof: list[Hash]


@operation(
    "Prove an entry's place in the log",
    gives={200: InclusionProof},
    refuses=(Fenced, LogContradicted),
    query=(POSITION, SIZE),
    anonymous=True,
)
def prove_inclusion(request: Request) -> Response:
    """For everyone: hashes only. At most up to the latest checkpoint."""
    position, size = POSITION.need(request), vouched_size(request, SIZE)
    if position >= size:
        raise bad_parameter("position", f"A tree of {size} entries has no such position.")
    return Response(read_from_tree(lambda: _proof(position, size)))


def _proof(position: int, size: int) -> InclusionProof:
    proof = as_text(place_proof(position, size))
    (leaf,) = leaf_hashes(position, position + 1)
    return InclusionProof(position, size, encode64(leaf), encode64(root_at(size)), proof)

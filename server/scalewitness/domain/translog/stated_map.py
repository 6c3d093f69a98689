"""What an answer of proofs states (``server/MAP.md``), held to the tree that was signed."""

from collections.abc import Mapping
from typing import Any

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.leaf import read_leaf
from scalewitness.domain.translog.prefix_tree import NOTHING
from scalewitness.domain.translog.proofs import verify_inclusion
from scalewitness.domain.translog.record_map import KIND, Link, NotShown, Opening
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.domain.translog.vrf import VrfKey, read_key

Fields = Mapping[str, Any]


def map_in(stated: Fields, head: Checkpoint) -> tuple[bytes, bytes]:
    """The map's root and the hash of its key, as the last entry of the signed tree has them.

    Raises:
        NotShown, ValueError, KeyError, TypeError: it is not shown to have them.
    """
    entry, proof = decode64(stated["entry"]), list(map(decode64, stated["proof"]))
    if stated["position"] != head.size - 1 or not verify_inclusion(
        leaf_hash=leaf_hash(entry), index=head.size - 1, size=head.size, proof=proof, root=head.root
    ):
        raise NotShown("the map it is proved by is not in the tree that was signed")
    leaf = read_leaf(entry)
    if (leaf.kind, leaf.by) != (KIND, None):
        raise NotShown("the tree that was signed does not end with the map")
    return bytes.fromhex(leaf.body["root"]), bytes.fromhex(leaf.body["key"])


def certified_key(shown: Fields, stated: bytes) -> VrfKey:
    """The map's key, if its hash is the one stated and it is shown to be good.

    Raises:
        NotShown, ValueError, KeyError, TypeError: it is not.
    """
    key = read_key(decode64(shown["modulus"]))
    if key.hash != stated or not key.is_certified(list(map(decode64, shown["roots"]))):
        raise NotShown("the key that the map is made with is not good")
    return key


def opening_in(shown: Fields) -> Opening:
    """What opens one subject's place in the map.

    Raises:
        ValueError, KeyError, TypeError: it is malformed.
    """
    return Opening(
        count=shown["count"],
        nonce=decode64(shown["nonce"]),
        path_proof=decode64(shown["path_proof"]),
        siblings=tuple(decode64(one) if one else NOTHING for one in shown["siblings"]),
        hidden=tuple(Link(one["position"], decode64(one["hash"])) for one in shown["hidden"]),
    )

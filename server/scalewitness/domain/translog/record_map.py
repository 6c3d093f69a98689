"""The map of subjects: that the entries shown about an animal are all there are.

A log proves that an entry is in it, not that nothing else is. So beside it there is a map, a prefix
tree, from everything that entries are about (an animal, a sale, a visit: a *subject*) to how many
they are and to a hash chained over them. The map's root is the last entry of each tree that the log
signs. ``server/MAP.md`` has the format, for whoever writes a verifier.
"""

import hmac
from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Final, NamedTuple
from uuid import UUID

import msgspec

from scalewitness.domain.translog.prefix_tree import path_leaf, root_from
from scalewitness.domain.translog.tree import HASH_BYTES, is_hash
from scalewitness.domain.translog.vrf import VrfKey

KIND: Final = "map_root"
START: Final = bytes(HASH_BYTES)
"""The chain over no entries."""


class Link(NamedTuple):
    """An entry as the chain holds it: its position and the hash of its leaf, 32 bytes."""

    position: int
    hash: bytes


class Opening(msgspec.Struct, frozen=True):
    """What shows one subject's place in the map. ``nonce`` (32 bytes) opens the commitment to
    ``count`` entries; ``path_proof`` is that of the verifiable random function; ``siblings`` are
    the hashes beside the path, from the top; ``hidden`` are the entries that the reader may not
    read, of which there is no more than this."""

    count: int
    nonce: bytes
    path_proof: bytes
    siblings: tuple[bytes, ...]
    hidden: tuple[Link, ...] = ()


class NotShown(ValueError):
    """The proof does not show that these entries, all of them and no others, are the record.
    The text says what does not fit, as a clause."""


def chained(chain: bytes, link: Link) -> bytes:
    """The chain with one more entry."""
    return sha256(b"\x03" + chain + link.position.to_bytes(8, "big") + link.hash).digest()


def chain_over(links: Iterable[Link], chain: bytes = START) -> bytes:
    for link in links:
        chain = chained(chain, link)
    return chain


def committed(nonce: bytes, count: int, chain: bytes) -> bytes:
    """What the map holds for a subject: nothing can be read from it without the nonce."""
    return sha256(b"\x04" + nonce + count.to_bytes(8, "big") + chain).digest()


def nonce_for(blinding: bytes, subject: UUID, count: int, chain: bytes) -> bytes:
    """A nonce for one version of a subject's value, which the holder of the secret can make again
    and nobody else can tell from chance."""
    value = subject.bytes + count.to_bytes(8, "big") + chain
    return hmac.digest(blinding, value, "sha256")


def require_whole(
    subject: UUID, shown: Sequence[Link], opening: Opening, root: bytes, key: VrfKey
) -> None:
    """See that the entries shown and those hidden are all there are about the subject in the map
    with this root.

    Raises:
        NotShown: they are not, or the opening is another's or no opening.
    """
    links = sorted([*shown, *opening.hidden])
    if len({link.position for link in links}) != len(links):
        raise NotShown("one place in the log is named twice")
    if len(links) != opening.count:
        raise NotShown(f"{opening.count} entries are stated and {len(links)} are there")
    path = key.output(opening.path_proof, subject.bytes)
    if path is None:
        raise NotShown("the place in the map that is shown is not this one's")
    if not is_hash(opening.nonce):
        raise NotShown("what opens its place in the map is damaged")
    try:
        value = committed(opening.nonce, opening.count, chain_over(links))
        found = root_from(path, path_leaf(path, value), opening.siblings)
    except (ValueError, OverflowError):
        raise NotShown("the proof is damaged") from None
    if found != root:
        raise NotShown("the entries are not those that the log states")

"""An animal's readable record as one file: carried to anybody, and checked by them offline.

It has every entry about the animal in the very bytes that the log has, each with its place in the
signed tree, and what shows by the map of subjects that these are all of them as of that tree
(``server/MAP.md``). With it come entries that the animal's standing rests on, and what opens the
commitments to free texts. Names are in none of it. Everything in a bundle is somebody else's word
until :func:`check`, and of whoever runs that log after it.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Final
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint, read_body
from scalewitness.domain.translog.commitment import opens
from scalewitness.domain.translog.keys import Verified, VerifierKey
from scalewitness.domain.translog.leaf import Leaf, read_leaf
from scalewitness.domain.translog.notes import BadNote, open_checkpoint, open_note, read_note
from scalewitness.domain.translog.proofs import verify_inclusion
from scalewitness.domain.translog.record_map import Link, NotShown, require_whole
from scalewitness.domain.translog.stated_map import certified_key, map_in, opening_in
from scalewitness.domain.translog.tree import leaf_hash

FORMAT: Final = "scalewitness bundle, version 1"
MEDIA_TYPE: Final = "application/vnd.scalewitness.bundle+json"
MOST_BYTES: Final = 4 * 2**20
"""A record of 1,000 entries in a log of a million has 2 MB (`deploy/bench/FIGURES.md`)."""
MOST_ENTRIES: Final = 5000
_Hash = Annotated[str, Meta(max_length=44)]
_Hashes = Annotated[tuple[_Hash, ...], Meta(max_length=64)]
_Place = Annotated[int, Meta(ge=0, le=2**53 - 1)]
_Id = Annotated[str, Meta(pattern="^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$")]


class BadBundle(ValueError):
    """It is no bundle, or does not hold; the text says why, as a sentence."""


class Placed(Struct, frozen=True, forbid_unknown_fields=True):
    """An entry's bytes, its position, and what joins it to the root of the tree (RFC 9162)."""

    position: _Place
    entry: Annotated[str, Meta(max_length=90_000)]
    proof: _Hashes


class InMap(Struct, frozen=True, forbid_unknown_fields=True):
    """The animal's place in the map: as in the answer of ``/api/v1/proofs``."""

    count: _Place
    nonce: _Hash
    path_proof: Annotated[str, Meta(max_length=1000)]
    siblings: Annotated[tuple[_Hash, ...], Meta(max_length=256)]


class CarriedMapKey(Struct, frozen=True, forbid_unknown_fields=True):
    modulus: Annotated[str, Meta(max_length=1000)]
    roots: Annotated[tuple[Annotated[str, Meta(max_length=1000)], ...], Meta(max_length=8)]


class CarriedText(Struct, frozen=True, forbid_unknown_fields=True):
    """A free text with the salt (64 hexadecimal digits) under which its fact is committed to it."""

    fact: _Id
    field: Annotated[str, Meta(max_length=20)]
    salt: Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
    text: Annotated[str, Meta(max_length=20_000)]


class Bundle(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """As it was written, nothing verified. ``key`` is the log's as it says itself: whom to believe
    that from is its reader's to know. ``unread``: the standing rests on entries besides."""

    format: Annotated[str, Meta(max_length=100)]
    key: Annotated[str, Meta(max_length=400)]
    animal: _Id
    checkpoint: Annotated[str, Meta(max_length=100_000)]
    map: Placed
    map_key: CarriedMapKey
    whole: InMap
    entries: Annotated[tuple[Placed, ...], Meta(max_length=MOST_ENTRIES)]
    rested_on: Annotated[tuple[Placed, ...], Meta(max_length=MOST_ENTRIES)]
    unread: bool
    openings: Annotated[tuple[CarriedText, ...], Meta(max_length=4 * MOST_ENTRIES)] = ()

    def written(self) -> bytes:
        return msgspec.json.encode(self)


class Checked(Struct, frozen=True):
    """What holds: as of ``head``, signed under ``key``, these ``entries`` are all there are about
    the animal. ``signed_at``: when that was, by the log's own clock, None where its entries tell no
    times; ``verified``: of the trusted keys, those that vouch for the checkpoint; ``texts``: by
    fact and field."""

    animal: str
    key: VerifierKey
    head: Checkpoint
    signed_at: str | None
    verified: tuple[Verified, ...]
    entries: Mapping[int, Leaf]
    texts: Mapping[tuple[str, str], str]


def read_bundle(data: bytes) -> Bundle:
    """Raises BadBundle: it is none, or too long."""
    if len(data) > MOST_BYTES:
        raise BadBundle(f"The file is longer than {MOST_BYTES} bytes, the most a bundle may have.")
    try:
        bundle = msgspec.json.decode(data, type=Bundle)
    except (msgspec.DecodeError, RecursionError) as fault:
        raise BadBundle(f"The file is no bundle: {fault}.") from None
    if bundle.format != FORMAT:
        raise BadBundle("The file is of another kind, or of a later version.")
    return bundle


def origin_of(bundle: Bundle) -> str:
    """The log that it says it is from, unverified. Raises BadBundle."""
    try:
        return read_body(read_note(bundle.checkpoint).text).origin
    except (BadNote, NotACheckpoint) as fault:
        raise BadBundle(f"The checkpoint in it is damaged: {fault}.") from None


def check(
    bundle: Bundle, keys: Sequence[VerifierKey], others: Sequence[VerifierKey] = ()
) -> Checked:
    """Hold all of it to the log's signature. ``keys``: those that may speak for the log, the best
    first; ``others``: witnesses'.

    Raises:
        BadBundle: none of the keys vouches for it, or it does not hold.
    """
    key, head, verified = _signed(bundle, keys, others)
    try:
        entries = {one.position: _placed(one, head) for one in bundle.entries}
        _require_all(bundle, head)
        stamp = _placed(bundle.map, head).stamp
        for one in bundle.rested_on:
            _placed(one, head)
        _require_about(bundle.animal, entries)
        texts = dict(_opened(bundle, entries))
    except (ValueError, KeyError, TypeError) as fault:
        raise BadBundle(f"The bundle does not hold: {fault}.") from None
    return Checked(
        bundle.animal, key, head, stamp.received if stamp else None, verified, entries, texts
    )


def _signed(
    bundle: Bundle, keys: Sequence[VerifierKey], others: Sequence[VerifierKey]
) -> tuple[VerifierKey, Checkpoint, tuple[Verified, ...]]:
    why = "no key of its log is trusted here"
    for key in keys:
        try:
            head, opened = open_checkpoint(bundle.checkpoint, key)
            witnesses = [one for one in others if one.name != key.name]
            if witnesses:
                opened = open_note(bundle.checkpoint, (key, *witnesses))
            return key, head, opened.verified
        except (BadNote, NotACheckpoint) as fault:
            why = str(fault)
    raise BadBundle(f"The checkpoint in it cannot be relied on: {why}.")


def _placed(one: Placed, head: Checkpoint) -> Leaf:
    entry = decode64(one.entry)
    if not verify_inclusion(
        leaf_hash=leaf_hash(entry),
        index=one.position,
        size=head.size,
        proof=list(map(decode64, one.proof)),
        root=head.root,
    ):
        raise NotShown(f"the entry at position {one.position} is not in the log that was signed")
    return read_leaf(entry)


def _require_all(bundle: Bundle, head: Checkpoint) -> None:
    root, stated = map_in(msgspec.to_builtins(bundle.map), head)
    key = certified_key(msgspec.to_builtins(bundle.map_key), stated)
    links = [Link(one.position, leaf_hash(decode64(one.entry))) for one in bundle.entries]
    opening = opening_in({**msgspec.to_builtins(bundle.whole), "hidden": ()})
    require_whole(UUID(bundle.animal), links, opening, root, key)


def _require_about(animal: str, entries: Mapping[int, Leaf]) -> None:
    """The map is by what entries are about; its key is the log's, so the entries have to say it."""
    if not entries:
        raise NotShown("there is no entry in it")
    for position, leaf in entries.items():
        if leaf.about != animal:
            raise NotShown(f"the entry at position {position} is about something else")


def _opened(bundle: Bundle, entries: Mapping[int, Leaf]) -> Iterator[tuple[tuple[str, str], str]]:
    committed = {leaf.id: leaf.body for leaf in entries.values()}
    for one in bundle.openings:
        commitment = committed.get(one.fact, {}).get(one.field)
        salt = bytes.fromhex(one.salt)
        if not isinstance(commitment, str) or not opens(commitment, one.text, salt):
            raise NotShown(f"the {one.field} of {one.fact} is not the text that it commits to")
        yield (one.fact, one.field), one.text

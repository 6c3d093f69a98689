"""Giving out what shows that a record is whole: the map as a signed tree states it, and the places
of single subjects in it."""

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from datetime import datetime
from uuid import UUID

import msgspec

from scalewitness.domain.errors import LogContradicted, NotFound
from scalewitness.domain.translog.prefix_tree import Reader, siblings_of
from scalewitness.domain.translog.record_map import KIND, Opening, nonce_for
from scalewitness.ledger.models import MapHead, MapSubject
from scalewitness.ledger.queries.entries import entry_at
from scalewitness.ledger.queries.entries import leaf_of as entry_leaf
from scalewitness.ledger.queries.mapping import AHEAD, along, kept_subjects, latest_map
from scalewitness.ledger.queries.snapshot import snapshot
from scalewitness.ledger.queries.tree import given_out, place_proof, tip
from scalewitness.ledger.queries.witnesses import cosigned_note
from scalewitness.ledger.services.mapping import map_signer
from scalewitness.ledger.services.signing import current_checkpoint, log_key, sign_checkpoint

ATTEMPTS = 4


class StatedTree(msgspec.Struct, frozen=True):
    """A signed tree, by its checkpoint, and its last entry, which states the map over all the
    others: the leaf's bytes, its position, and the hashes that join it to the tree's root."""

    checkpoint: str
    entry: bytes
    position: int
    proof: tuple[bytes, ...]


@contextmanager
def stated_tree(now: datetime) -> Iterator[StatedTree]:
    """The newest tree, signed now if the log has grown; within the block everything is read as of
    one moment, at which the map is as this tree states it.

    Raises:
        LogContradicted, Fenced, OSError, Busy: as `signing.sign_checkpoint`.
    """
    for attempt in range(ATTEMPTS):
        if attempt:
            sign_checkpoint(now)
        with snapshot():
            found = _stated()
            if found is not None:
                yield found
                return
    raise LogContradicted()


def _stated() -> StatedTree | None:
    """None where entries came in since, or the map is being extended and has no root that was
    stated."""
    stated, head = latest_map(), MapHead.objects.get(pk=1)
    if stated is None or tip().size != stated.position + 1:
        return None
    key = str(log_key())
    checkpoint = given_out().filter(size=stated.position + 1, key=key).first()
    entry = entry_at(stated.position)
    if checkpoint is None or head.size != checkpoint.size:
        return None
    if entry is None or bytes(head.root).hex() != stated.root:
        raise LogContradicted()
    try:
        proof = tuple(place_proof(stated.position, checkpoint.size))
    except ValueError:
        raise LogContradicted() from None
    return StatedTree(cosigned_note(checkpoint), bytes(entry.leaf), stated.position, proof)


def newest_tree(now: datetime) -> StatedTree:
    """The tree that the log signed last, whatever came in since. Everybody is given its last entry,
    so it has to be the record's own.

    Raises:
        NotFound: there is nothing in the log, or its tree is of before it stated maps.
        LogContradicted, Fenced: as `signing.current_checkpoint`.
    """
    checkpoint = current_checkpoint(now)
    if not checkpoint.size:
        raise NotFound("There is nothing in the log.")
    last = checkpoint.size - 1
    entry = entry_at(last)
    if entry is None:
        raise LogContradicted()
    try:
        if entry_leaf(entry).kind != KIND:
            raise NotFound("The log has stated no map yet.")
        proof = tuple(place_proof(last, checkpoint.size))
    except ValueError:
        raise LogContradicted() from None
    return StatedTree(cosigned_note(checkpoint), bytes(entry.leaf), last, proof)


def openings(subjects: Collection[UUID]) -> dict[UUID, Opening]:
    """The places of subjects in the map, those that it has; within a :func:`stated_tree`. Nothing
    is hidden in them yet.

    Raises:
        LogContradicted: the map as stored lacks nodes.
    """
    kept = kept_subjects(subjects)
    read = along(bytes(one.path) for one in kept.values())
    return {id: _opening(one, read) for id, one in kept.items()}


def _opening(one: MapSubject, read: Reader) -> Opening:
    path, chain = bytes(one.path), bytes(one.chain)
    try:
        siblings = siblings_of(path, read, AHEAD)
    except KeyError:
        raise LogContradicted() from None
    nonce = nonce_for(map_signer().blinding, one.subject, one.count, chain)
    return Opening(one.count, nonce, bytes(one.path_proof), tuple(siblings))

"""One log that ended and another that goes on from it, told by an entry of the second.

A log that lost what others have seen must never sign under its name again. It goes on under a
new name and key: the entries that are left stay the first of the tree, and the one right after
them says whose they were, what was last signed of them, and how many are missing.
"""

from collections.abc import Sequence
from typing import Final

import msgspec

from scalewitness.domain.facts import OriginSucceeded
from scalewitness.domain.translog.canonical import BadJson, NotCanonical
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint
from scalewitness.domain.translog.keys import BadKey, VerifierKey, read_verifier
from scalewitness.domain.translog.leaf import NotALeaf, read_leaf
from scalewitness.domain.translog.notes import BadNote, open_checkpoint, read_note

KIND: Final = "origin_succeeded"


class BadSuccession(ValueError):
    """The entry does not say of one log that it goes on as another. The text says why."""


class Succession(msgspec.Struct, frozen=True):
    """``old`` is closed after ``kept`` entries and goes on as ``new``; ``last`` is what it is
    known to have signed last, ``note`` the note of it; ``statement`` commits to by whose word."""

    old: VerifierKey
    new: VerifierKey
    last: Checkpoint
    note: str
    kept: int
    missing: int
    statement: str


def read_succession(entry: bytes, position: int) -> Succession:
    """What the entry at ``position`` says.

    Raises:
        BadSuccession: it is no such entry, a person's, in another place than it says, or its
            checkpoint is not signed by the log that it closes.
    """
    try:
        leaf = read_leaf(entry)
        body = msgspec.convert(leaf.body, OriginSucceeded)
        old, new = read_verifier(body.old_key), read_verifier(body.new_key)
        last, _ = open_checkpoint(read_note(body.checkpoint), old)
    except (BadJson, NotCanonical, NotALeaf, msgspec.ValidationError) as fault:
        raise BadSuccession(f"it is no such entry: {fault}") from None
    except (BadKey, BadNote, NotACheckpoint) as fault:
        raise BadSuccession(f"its keys or its checkpoint do not hold: {fault}") from None
    if leaf.kind != KIND or leaf.by is not None:
        raise BadSuccession("it is another kind of entry, or not the record's own")
    if body.kept != position or body.missing != max(0, last.size - position):
        raise BadSuccession("its numbers are not those of its place and its checkpoint")
    if old.name == new.name or old.public == new.public:
        raise BadSuccession("it names the same log, or the same key, twice")
    return Succession(old, new, last, body.checkpoint, body.kept, body.missing, body.statement)


def chain_from(origin: str, stated: Sequence[Succession], to: str) -> list[Succession]:
    """Of what a log says of its past, in its own order, the steps that lead from ``origin`` to
    the log ``to``.

    Raises:
        BadSuccession: they do not, one after the other.
    """
    names = [one.old.name for one in stated]
    steps = list(stated[names.index(origin) :]) if origin in names else []
    follows = [one.new.name for one in steps]
    if not steps or [one.old.name for one in steps[1:]] != follows[:-1] or follows[-1] != to:
        raise BadSuccession(f"it does not say how {origin} became {to}")
    return steps

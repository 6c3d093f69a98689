"""A log's change of keys: a checkpoint that names the key after it, signed under both.

The line that names the key is an extension of the checkpoint's body (C2SP tlog-checkpoint), so that
the old key says who follows it, the new one that it is held, and a witness's cosignature covers
both. From that tree on the old key speaks for nothing.
"""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import Final

import msgspec

from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint, read_body
from scalewitness.domain.translog.keys import BadKey, KeyType, Signer, VerifierKey, read_verifier
from scalewitness.domain.translog.notes import BadNote, Note, open_checkpoint, read_note, signed

WORD: Final = "key-change "


class BadKeyChange(ValueError):
    """The note changes no key, or not so that it may be followed. The text is a clause."""


class KeyChange(msgspec.Struct, frozen=True):
    """``old`` gives the log over to ``new`` with the tree ``head``; ``note`` says so."""

    old: VerifierKey
    new: VerifierKey
    head: Checkpoint
    note: str


class Spoken(msgspec.Struct, frozen=True):
    """A checkpoint that holds, and the key that vouches for it."""

    head: Checkpoint
    key: VerifierKey


class GivenUp(BadNote):
    """A checkpoint that only a key vouches for which the log had given up; ``change`` is how."""

    def __init__(self, change: KeyChange, size: int) -> None:
        super().__init__(
            f"it has {size} entries and is signed by the key {change.old.key_id.hex()}, which the "
            f"log gave up at {change.head.size}: somebody has that key who should not"
        )
        self.change = change


def changed(head: Checkpoint, old: Signer, new: Signer) -> Note:
    """The note by which ``old`` gives the log over to ``new`` with this tree."""
    line = f"{WORD}{new.verifier}"
    return signed(Checkpoint(head.origin, head.size, head.root, (line,)).body(), old, new)


def names_a_key(head: Checkpoint) -> bool:
    """Whether the checkpoint says that another key follows."""
    return any(line.startswith(WORD) for line in head.extensions)


def read_change(note: Note | str | bytes, old: VerifierKey) -> KeyChange:
    """The change by which the key ``old`` gives the log over.

    Raises:
        BadKeyChange: it is none, or not signed by both keys.
    """
    try:
        whole = note if isinstance(note, Note) else read_note(note)
        named = [line for line in read_body(whole.text).extensions if line.startswith(WORD)]
    except (BadNote, NotACheckpoint) as fault:
        raise BadKeyChange(f"it is no checkpoint: {fault}") from None
    if len(named) != 1:
        raise BadKeyChange("it does not name one key that follows")
    try:
        new = read_verifier(named[0].removeprefix(WORD))
    except BadKey as fault:
        raise BadKeyChange(f"the key that it names is none: {fault}") from None
    if new.type is not KeyType.ED25519 or new.name != old.name or new.public == old.public:
        raise BadKeyChange("the key that it names is not another one of the same log")
    head = _signed_by(whole, old, "the key before")
    _signed_by(whole, new, "the key that it names")
    own = {(old.name, old.key_id), (new.name, new.key_id)}
    lines = tuple(line for line in whole.lines if (line.name, line.key_id) in own)
    return KeyChange(old, new, head, str(Note(whole.text, lines)))


def _signed_by(note: Note, key: VerifierKey, which: str) -> Checkpoint:
    try:
        return open_checkpoint(note, key)[0]
    except BadNote as fault:
        raise BadKeyChange(f"{which} does not vouch for it: {fault}") from None


def changes_from(keys: Sequence[VerifierKey], notes: Iterable[str]) -> list[KeyChange]:
    """Of notes that are said to change a log's key, those that lead on from one of ``keys``, each
    from the one before; the rest say nothing here."""
    found, rest = list[KeyChange](), list(notes)
    speaking = list(keys)
    while rest:
        step = next(filter(None, (_step(one, speaking) for one in rest)), None)
        if step is None:
            break
        note, change = step
        rest.remove(note)
        found.append(change)
        speaking = [key for key in speaking if key != change.old] + [change.new]
    return found


def _step(note: str, keys: Iterable[VerifierKey]) -> tuple[str, KeyChange] | None:
    for key in keys:
        with suppress(BadKeyChange):
            return note, read_change(note, key)
    return None


def with_followed(
    keys: Sequence[VerifierKey], changes: Iterable[KeyChange]
) -> tuple[VerifierKey, ...]:
    """The keys that have a say: those trusted, and those that the changes gave the log to."""
    return tuple(dict.fromkeys((*keys, *(one.new for one in changes))))


def spoken(note: Note, keys: Sequence[VerifierKey], changes: Sequence[KeyChange] = ()) -> Spoken:
    """A checkpoint that one of the keys vouches for which the log had not given up by then.

    Raises:
        GivenUp: only such a key does.
        BadNote: as :func:`open_checkpoint`; none does.
        NotACheckpoint: the text is none.
    """
    ends = {one.old: one for one in changes}
    fault: BadNote | NotACheckpoint = BadNote("no key of this log is trusted here")
    for key in with_followed(keys, changes):
        try:
            head, _ = open_checkpoint(note, key)
        except (BadNote, NotACheckpoint) as refused:
            fault = fault if isinstance(fault, GivenUp) else refused
            continue
        end = ends.get(key)
        if end is None or head.size <= end.head.size:
            return Spoken(head, key)
        fault = GivenUp(end, head.size)
    raise fault

"""Following a log from one key to the next: by a note that both signed, over a tree that goes on.

What was followed is kept with the memory of the log. Nothing of it has to be confirmed by anybody:
the key trusted so far has named the one after it.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import msgspec

from scalewitness.domain.translog.checkpoints import NotACheckpoint, read_body
from scalewitness.domain.translog.key_changes import (
    BadKeyChange,
    GivenUp,
    KeyChange,
    Spoken,
    changes_from,
    names_a_key,
    read_change,
    spoken,
    with_followed,
)
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import BadNote, Note
from scalewitness_cli.alarms import Kind


class _Answer(msgspec.Struct, frozen=True):
    changes: list[str]


@dataclass(frozen=True, slots=True)
class Refused:
    """Why the checkpoint is not accepted. ``against``: the signed note that speaks against it, or
    against ``instead``, where that is not the checkpoint itself."""

    kind: Kind
    why: str
    against: str | None = None
    instead: str | None = None


@dataclass(frozen=True, slots=True)
class Vouched:
    """A checkpoint that a key vouches for which has a say, and the changes that led to it: those
    known, and ``new`` ones, which its tree has yet to be shown to continue."""

    spoken: Spoken
    changes: tuple[KeyChange, ...]
    new: tuple[KeyChange, ...] = ()


def vouched(
    note: Note, keys: Sequence[VerifierKey], known: Sequence[KeyChange], notes: Sequence[str] = ()
) -> Vouched | Refused:
    """Who vouches for the checkpoint. ``known``: changes that were followed before; ``notes``: more
    that the log shows."""
    if (two := _two_keys((str(note), *notes), known)) is not None:
        return two
    with suppress(NotACheckpoint):
        if names_a_key(read_body(note.text)):
            notes = (*notes, str(note))
    changes = changes_from(keys, [*(one.note for one in known), *notes])
    try:
        found = spoken(note, keys, changes)
    except GivenUp as fault:
        return Refused("old_key", _sentence(fault), fault.change.note)
    except (BadNote, NotACheckpoint) as fault:
        return Refused("bad_signature", _sentence(fault))
    new = [one for one in changes if one not in known]
    if names_a_key(found.head) and not any(one.head == found.head for one in changes):
        return Refused("half_change", _why_not(note, with_followed(keys, changes)))
    return Vouched(found, tuple(changes), tuple(new))


def notes_in(answer: bytes | None) -> list[str]:
    """What a log says of its changes of keys; nothing where it says nothing."""
    with suppress(msgspec.MsgspecError):
        return msgspec.json.decode(answer or b"", type=_Answer).changes
    return []


def _two_keys(notes: Sequence[str], known: Sequence[KeyChange]) -> Refused | None:
    """Whether a key that gave the log over is shown to have given it to somebody else, too."""
    for change in known:
        for note in notes:
            with suppress(BadKeyChange):
                other = read_change(note, change.old)
                if (other.new, other.head) != (change.new, change.head):
                    why = f"The other key: {other.new}."
                    return Refused("two_keys", why, change.note, other.note)
    return None


def _why_not(note: Note, keys: Sequence[VerifierKey]) -> str:
    why = ""
    for key in keys:
        try:
            read_change(note, key)
        except BadKeyChange as fault:
            why = why or _sentence(fault)
    return why


def _sentence(fault: Exception) -> str:
    return f"{str(fault)[:1].upper()}{str(fault)[1:]}."


def in_words(change: KeyChange) -> str:
    """That a change was followed."""
    return (
        f"The log {change.old.name} has a new key since it had {change.head.size} entries. The key "
        f"before it says so, in a note that both signed, which is kept. The new one: {change.new}"
    )

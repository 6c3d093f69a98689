"""Watching a log: it may only grow, and must prove it from what was seen before.

The proofs are made here from the log's own hash tiles, so nothing rests on its word. What is
accepted is on the disk before anything is signed or told; an alarm stays until somebody
acknowledges it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint, read_body
from scalewitness.domain.translog.key_changes import KeyChange
from scalewitness.domain.translog.keys import VerifierKey
from scalewitness.domain.translog.notes import (
    BadNote,
    Note,
    SignatureLine,
    open_checkpoint,
    read_note,
    signature_line,
)
from scalewitness.domain.translog.proofs import consistency_proof, tree_root, verify_consistency
from scalewitness.domain.translog.successions import BadSuccession
from scalewitness.domain.translog.tiles import Tile, nodes_in
from scalewitness_cli.alarms import WORDS, Alarm, Kind, alarm_id
from scalewitness_cli.key_following import Refused, Vouched, notes_in, vouched
from scalewitness_cli.memory import Memory
from scalewitness_cli.remote import Stopped
from scalewitness_cli.succession import Forked, Succeeded, gone_on, in_words

Known: TypeAlias = Callable[[], list[Checkpoint]]


class Log(Protocol):
    """Where a log is read; see :class:`scalewitness_cli.public_log.PublicLog`."""

    url: str

    def checkpoint(self) -> bytes: ...

    def tile(self, place: Tile) -> bytes: ...

    def origins(self) -> bytes | None: ...

    def key_changes(self) -> bytes | None: ...


@dataclass(frozen=True, slots=True)
class Seen:
    """The checkpoint accepted, and the one it was proved to continue: None the first time.
    ``changes``: of keys that were followed with it."""

    note: Note
    head: Checkpoint
    before: Checkpoint | None
    changes: tuple[KeyChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong with two checkpoints, and the proof of it where there is one."""

    kind: Kind
    why: str = ""
    against: str | None = None
    instead: str | None = None
    changes: tuple[KeyChange, ...] = ()
    root_then: bytes | None = None
    proof: tuple[bytes, ...] = ()


@dataclass(frozen=True, slots=True)
class Cosignature:
    """What a witness sends: its line under a checkpoint."""

    key: VerifierKey
    note: Note
    head: Checkpoint
    line: SignatureLine


def look(
    memory: Memory,
    log: Log,
    keys: Sequence[VerifierKey],
    now: int,
    also: Sequence[Note] = (),
    known: Known = list,
    shown: Note | None = None,
) -> Seen | Alarm:
    """Look at the log once: accept what it shows, or raise an alarm.

    ``keys`` may speak for the log, as may those that they gave it over to; ``also`` are
    checkpoints that others were shown, which must fit as well, as must those met since the last
    look (:meth:`Memory.met`); ``known`` gives more trees of it, for when another log says that it
    goes on from this one; ``shown`` is a checkpoint that it gave out just now, else its newest is
    asked for. ``now``: Unix seconds. An alarm that nobody acknowledged comes back before anything
    is asked.

    Raises:
        Stopped: the log could not be reached, or sent something that is no note; one of
            ``also`` is not this log's.
    """
    with memory.alone():
        known_changes = memory.key_changes(keys)
        if strange := [
            note for note in also if _vouched(note, memory.origin, keys, known_changes) is None
        ]:
            raise Stopped(f"not signed by {memory.origin}:\n{strange[0]}")
        if (standing := memory.alarm()) is not None:
            return standing
        shown, kept = shown or note_of(log), memory.kept()
        found = _found(memory, log, keys, known_changes, shown)
        if isinstance(found, Trouble):
            found = _succeeded(memory, log, keys, shown, known) or found
            return alarmed(memory, log.url, kept, shown, found, now)
        head, turns = found.spoken.head, [read_note(one.note) for one in found.new]
        for earlier in filter(None, (kept, *also, *memory.met(), *turns)):
            trouble = _contradiction(read_body(earlier.text), head, log)
            if trouble is not None:
                trouble = replace(trouble, changes=found.changes)
                return alarmed(memory, log.url, earlier, shown, trouble, now)
        for change in found.new:
            memory.keep_change(change)
        memory.keep(shown)
        memory.forget_met()
        return Seen(shown, head, read_body(kept.text) if kept else None, found.new)


def _found(
    memory: Memory,
    log: Log,
    keys: Sequence[VerifierKey],
    changes: Sequence[KeyChange],
    shown: Note,
) -> Vouched | Trouble:
    """Who vouches for what is shown; where no key does that has a say here, or another than
    before, the log is asked how its key changed."""
    claimed, kept = shown.text.partition("\n")[0], memory.kept()
    if claimed != memory.origin:
        return Trouble("other_log", f"It says it is “{claimed}”.")
    found = vouched(shown, keys, changes)
    if _must_ask(found, kept):
        found = vouched(shown, keys, changes, notes_in(log.key_changes()))
    if isinstance(found, Refused):
        return Trouble(found.kind, found.why, found.against, found.instead)
    return found


def successor(
    memory: Memory, log: Log, keys: Sequence[VerifierKey], shown: Note, known: Known = list
) -> Succeeded:
    """The log shown, as what the one remembered became.

    Raises:
        BadSuccession: it does not show that it goes on from it.
        Stopped: the log could not be read.
    """
    trees = [*memory.seen(), *known()]
    if (kept := memory.kept()) is not None:
        trees.append(read_body(kept.text))
    return gone_on(keys, shown, log.origins(), log.tile, trees)


def _succeeded(
    memory: Memory, log: Log, keys: Sequence[VerifierKey], shown: Note, known: Known
) -> Trouble | None:
    """What a log of another name says of this one; None where it is simply another."""
    if shown.text.partition("\n")[0] == memory.origin:
        return None
    try:
        found = successor(memory, log, keys, shown, known)
    except Forked as fault:
        return Trouble("rewritten", f"It says that it goes on from {memory.origin}, but {fault}.")
    except BadSuccession:
        return None
    return Trouble("succeeded", f"{in_words(found)} Its key: {found.key}")


def to_send(memory: Memory, now: int) -> Cosignature | None:
    """This machine's cosignature under the checkpoint it keeps; None where the log has it
    already, nothing is kept, or an alarm stands."""
    with memory.alone():
        kept = memory.kept()
        if kept is None or memory.alarm() or memory.is_sent(kept):
            return None
        signer = memory.signer()
        line = signature_line(kept.text, signer, now)
        return Cosignature(signer.verifier, kept, read_body(kept.text), line)


def cosigned_anew(memory: Memory, now: int) -> Note:
    """The checkpoint kept, with a new line of this machine's: its word that it knows of nothing
    larger. For an operator who must show that a restored log is whole.

    Raises:
        Stopped: nothing is kept, or an alarm stands.
    """
    with memory.alone():
        kept = memory.kept()
        if kept is None or memory.alarm():
            raise Stopped("There is nothing to cosign, or an alarm stands.")
        return kept.with_lines([signature_line(kept.text, memory.signer(), now)])


def note_of(log: Log) -> Note:
    """The note that the log shows now, nothing verified.

    Raises:
        Stopped: it could not be read, or is none.
    """
    try:
        return read_note(log.checkpoint())
    except BadNote as fault:
        raise Stopped(f"{log.url} sends something that is not a checkpoint: {fault}") from None


def _must_ask(found: Vouched | Refused, kept: Note | None) -> bool:
    if isinstance(found, Refused):
        return found.kind == "bad_signature"
    return kept is not None and not _is_spoken_by(kept, found.spoken.key)


def _vouched(
    note: Note, origin: str, keys: Sequence[VerifierKey], changes: Sequence[KeyChange]
) -> Vouched | None:
    found = vouched(note, keys, changes)
    mine = note.text.partition("\n")[0] == origin
    return found if mine and isinstance(found, Vouched) else None


def _is_spoken_by(note: Note, key: VerifierKey) -> bool:
    try:
        open_checkpoint(note, key)
    except (BadNote, NotACheckpoint):
        return False
    return True


def _contradiction(before: Checkpoint, head: Checkpoint, log: Log) -> Trouble | None:
    """What speaks against ``head`` as the continuation of ``before``; None if nothing."""
    if head.size == before.size:
        return None if head.root == before.root else Trouble("other_root")
    if head.size > before.size:
        return _ungrown(before, head, log)
    why = f"{head.size} entries now, {before.size} before."
    found = _other_start(head, before, log)
    return replace(found, kind="smaller", why=why) if found else Trouble("smaller", why)


def _other_start(head: Checkpoint, before: Checkpoint, log: Log) -> Trouble | None:
    """Proof that a smaller tree is not even the start of the one before, if the log still
    gives it out. The alarm does not hang on it."""
    try:
        found = _ungrown(head, before, log)
    except Stopped:
        return None
    return found if found and found.root_then is not None else None


def _ungrown(old: Checkpoint, new: Checkpoint, log: Log) -> Trouble | None:
    """Trouble unless the tiles of ``new`` show it to begin with ``old``."""
    try:
        node = nodes_in(log.tile, new.size)
        root_then = tree_root(old.size, node)
        proof = tuple(consistency_proof(old.size, new.size, node))
    except ValueError as fault:
        return Trouble("unproven", f"{str(fault)[:1].upper()}{str(fault)[1:]}.")
    if _grows(old.size, old.root, new, proof):
        return None
    if _grows(old.size, root_then, new, proof):
        return Trouble("rewritten", root_then=root_then, proof=proof)
    return Trouble("unproven", "The tiles it gives out do not make up the tree it signed.")


def _grows(size: int, root: bytes, new: Checkpoint, proof: Sequence[bytes]) -> bool:
    return verify_consistency(
        size1=size, root1=root, size2=new.size, root2=new.root, proof=list(proof)
    )


def alarmed(
    memory: Memory,
    address: str,
    earlier: Note | None,
    shown: Note,
    found: Trouble,
    now: int,
) -> Alarm:
    """Raise an alarm about two checkpoints; to be called while nobody else looks at this log
    (:meth:`Memory.alone`)."""
    kept = found.against or (str(earlier) if earlier else None)
    text = found.instead or str(shown)
    alarm = Alarm(
        id=alarm_id(found.kind, kept or "", text, str(now)),
        kind=found.kind,
        at=now,
        address=address,
        origin=memory.origin,
        why=f"{WORDS[found.kind]} {found.why}".strip(),
        kept=kept,
        shown=text,
        root_then=None if found.root_then is None else encode64(found.root_then),
        proof=[encode64(one) for one in found.proof],
        changes=[one.note for one in found.changes],
    )
    memory.raise_alarm(alarm)
    return alarm

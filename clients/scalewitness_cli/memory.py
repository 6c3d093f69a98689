"""What this machine remembers of a log: the last checkpoint it accepted, its own witness
key, and alarms. Nothing here is a cache: a lost memory is a lost witness."""

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path

import msgspec

from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.key_changes import KeyChange, changes_from, with_followed
from scalewitness.domain.translog.keys import (
    BadKey,
    KeyType,
    Signer,
    VerifierKey,
    read_signer,
)
from scalewitness.domain.translog.notes import BadNote, Note, read_note
from scalewitness_cli.alarms import Acknowledged, Alarm
from scalewitness_cli.locking import locked, sync_folder, write_whole
from scalewitness_cli.remote import Stopped

VARIABLE = "SCALEWITNESS_STATE"
"""Names another folder to remember in."""
NAME_BYTES = 8
MOST_MET = 200
_decode_alarm = msgspec.json.Decoder(Alarm).decode


def state_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """Where it is remembered: by the XDG base directory specification, unless named."""
    if named := environ.get(VARIABLE):
        return Path(named)
    base = environ.get("XDG_STATE_HOME") or str(Path(environ.get("HOME", "~"), ".local", "state"))
    return Path(base, "scalewitness").expanduser()


class Memory:
    """Of the log ``origin``, in a folder of its own below ``folder``."""

    def __init__(self, folder: Path, origin: str) -> None:
        self.origin = origin
        self.folder = folder / "logs" / sha256(origin.encode()).hexdigest()

    @contextmanager
    def alone(self) -> Iterator[None]:
        """While it lasts no other process looks at this log: what is kept cannot roll back
        because a slower one finishes later."""
        with locked(self.folder / "lock"):
            name = self.folder / "origin"
            if not name.is_file():
                write_whole(name, f"{self.origin}\n")
            yield

    def kept(self) -> Note | None:
        """The last checkpoint accepted.

        Raises:
            Stopped: the file is damaged.
        """
        path = self.folder / "checkpoint"
        try:
            return read_note(path.read_bytes()) if path.is_file() else None
        except BadNote as fault:
            raise Stopped(f"{path} is damaged: {fault}") from None

    def keep(self, note: Note) -> None:
        """Of a note that is kept already nothing is written."""
        if note != self.kept():
            write_whole(self.folder / "seen", msgspec.json.encode(self._seen_with(note)))
            write_whole(self.folder / "checkpoint", str(note))

    def seen(self) -> list[Checkpoint]:
        """Checkpoints accepted, the smallest first; fewer of those that lie far back."""
        return [read_body(read_note(note).text) for note in self._notes("seen")]

    def seen_notes(self) -> list[str]:
        """The notes of :meth:`seen`."""
        return self._notes("seen")

    def _notes(self, name: str) -> list[str]:
        path = self.folder / name
        try:
            return msgspec.json.decode(path.read_bytes(), type=list[str]) if path.is_file() else []
        except msgspec.MsgspecError as fault:
            raise Stopped(f"{path} is damaged: {fault}") from None

    def _seen_with(self, note: Note) -> list[str]:
        """With the log's own line alone. Of two as far back, to within a sixteenth, one is kept:
        some hundreds of notes, however long the log is watched."""
        own = tuple(line for line in note.lines if line.name == self.origin)
        newest = read_body(note.text).size
        kept: dict[tuple[int, int], str] = {}
        for one in (*self._notes("seen"), str(Note(note.text, own))):
            size = read_body(read_note(one).text).size
            shift = max(0, (newest - size).bit_length() - 4)
            kept.setdefault((shift, size >> shift), one)
        return list(kept.values())

    def met(self) -> list[Note]:
        """Checkpoints that others were shown, from files of theirs, to be held to the log when it
        is looked at next."""
        return [read_note(one) for one in self._notes("met")]

    def meet(self, note: Note) -> None:
        """Keep one of those. Whoever hands over ever more of them cannot push out the first."""
        own = Note(note.text, tuple(line for line in note.lines if line.name == self.origin))
        notes = list(dict.fromkeys([*self._notes("met"), str(own)]))[:MOST_MET]
        write_whole(self.folder / "met", msgspec.json.encode(notes))

    def forget_met(self) -> None:
        """They were held to the log, and fit."""
        (self.folder / "met").unlink(missing_ok=True)

    def key_changes(self, keys: Sequence[VerifierKey]) -> list[KeyChange]:
        """How the log came from one of these keys to the one that it has, as far as it was
        followed here."""
        return changes_from(keys, self._change_notes())

    def keys(self, trusted: Sequence[VerifierKey]) -> list[VerifierKey]:
        """Those trusted, and those that the log was followed to from them."""
        return list(with_followed(trusted, self.key_changes(trusted)))

    def keep_change(self, change: KeyChange) -> None:
        """Follow the log to another key, for good."""
        notes = list(dict.fromkeys([*self._change_notes(), change.note]))
        write_whole(self.folder / "key_changes", msgspec.json.encode(notes))

    def _change_notes(self) -> list[str]:
        return self._notes("key_changes")

    def is_sent(self, note: Note) -> bool:
        """Whether the log has this machine's cosignature under this checkpoint."""
        path = self.folder / "sent"
        return path.is_file() and path.read_text(encoding="utf-8").strip() == _digest(note)

    def note_sent(self, note: Note) -> None:
        write_whole(self.folder / "sent", f"{_digest(note)}\n")

    def signer(self) -> Signer:
        """This machine's witness key for this log, made when first needed. Its name is
        random: it says nothing of a person and ties no two logs together.

        Raises:
            Stopped: the file is damaged.
        """
        path = self.folder / "key"
        if not path.is_file():
            name = f"{self.origin}/witness/{os.urandom(NAME_BYTES).hex()}"
            made = Signer(name, KeyType.COSIGNATURE, os.urandom(32))
            write_whole(path, f"{made.secret()}\n", mode=0o600)
        try:
            return read_signer(path.read_text(encoding="utf-8").strip())
        except BadKey as fault:
            raise Stopped(f"{path} is damaged: {fault}") from None

    def alarm(self) -> Alarm | None:
        """The oldest alarm that nobody has acknowledged."""
        return next(iter(self.alarms()), None)

    def alarms(self) -> list[Alarm]:
        found = [_decode_alarm(one.read_bytes()) for one in self._open().glob("*.json")]
        return sorted(found, key=lambda alarm: alarm.at)

    def file_of(self, alarm: Alarm) -> Path:
        return self._open() / f"{alarm.id}.json"

    def raise_alarm(self, alarm: Alarm) -> None:
        write_whole(self.file_of(alarm), _text(alarm))

    def acknowledge(self, alarm: Alarm, because: str, now: int, start_over: bool) -> Path:
        """Set an alarm aside, with what it rests on. To ``start_over`` also forgets the kept
        checkpoint, which the alarm holds too: the next one seen is then the first.

        Repeated after a crash it comes to the same.
        """
        done = Acknowledged(alarm, because, now, start_over)
        path = self.folder / "acknowledged" / f"{alarm.id}.json"
        write_whole(path, _text(done))
        if start_over:
            (self.folder / "checkpoint").unlink(missing_ok=True)
            sync_folder(self.folder)
        self.file_of(alarm).unlink(missing_ok=True)
        sync_folder(self._open())
        return path

    def _open(self) -> Path:
        return self.folder / "alarms"


def all_memories(folder: Path) -> list[Memory]:
    """Of every log this machine ever looked at."""
    names = sorted((folder / "logs").glob("*/origin"))
    return [Memory(folder, one.read_text(encoding="utf-8").removesuffix("\n")) for one in names]


def _text(struct: Alarm | Acknowledged) -> str:
    return msgspec.json.format(msgspec.json.encode(struct), indent=2).decode() + "\n"


def _digest(note: Note) -> str:
    return sha256(note.text.encode()).hexdigest()

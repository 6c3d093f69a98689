"""Signed notes (C2SP signed-note): a text and, below it, the lines that vouch for it."""

from collections.abc import Iterable, Sequence
from typing import Final

import msgspec

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.keys import (
    KEY_ID_BYTES,
    Signer,
    Verified,
    VerifierKey,
    is_key_name,
)

MAX_SIGNATURES: Final = 100
"""More lines than this are refused unread; the specification asks for at least 16."""
MAX_NOTE_BYTES: Final = 1_000_000

_DASH: Final = "— "


class BadNote(ValueError):
    """The text is no signed note, or nobody trusted vouches for it."""


class SignatureLine(msgspec.Struct, frozen=True):
    """One signature line: key name, four-byte key ID, and the signature after it."""

    name: str
    key_id: bytes
    signature: bytes

    def __str__(self) -> str:
        return f"{_DASH}{self.name} {encode64(self.key_id + self.signature)}\n"


class Note(msgspec.Struct, frozen=True):
    """A note as it stands, nothing verified. ``text`` ends in a newline."""

    text: str
    lines: tuple[SignatureLine, ...]

    def __str__(self) -> str:
        return f"{self.text}\n{''.join(map(str, self.lines))}"

    def with_lines(self, lines: Iterable[SignatureLine]) -> "Note":
        """The note with more lines under it, none twice."""
        return Note(self.text, tuple(dict.fromkeys((*self.lines, *lines))))


class Opened(msgspec.Struct, frozen=True):
    """A note of which at least one trusted key vouches, and no trusted key's line fails."""

    text: str
    verified: tuple[Verified, ...]
    unknown: tuple[SignatureLine, ...]


def signed(text: str, *signers: Signer) -> Note:
    """The text with the signature of each (none of them a cosigner)."""
    return Note(text, tuple(signature_line(text, signer) for signer in signers))


def signature_line(text: str, signer: Signer, at: int | None = None) -> SignatureLine:
    """``signer``'s line under ``text``; ``at`` (Unix seconds) for a cosigner."""
    return SignatureLine(signer.name, signer.verifier.key_id, signer.sign(text, at))


def read_note(data: bytes | str) -> Note:
    """A note's parts, with nothing verified.

    Raises:
        BadNote: not UTF-8, control characters, no blank line before the signatures, a
            malformed signature line, none or more than :data:`MAX_SIGNATURES` of them.
    """
    whole = _decoded(data)
    text, blank, below = whole.rpartition("\n\n")
    if not blank or not below.endswith("\n"):
        raise BadNote("a note is a text, a blank line and signature lines")
    lines = below.split("\n")[:-1]
    if len(lines) > MAX_SIGNATURES:
        raise BadNote(f"more than {MAX_SIGNATURES} signature lines")
    return Note(text + "\n", tuple(map(read_line, lines)))


def _decoded(data: bytes | str) -> str:
    if len(data) > MAX_NOTE_BYTES:
        raise BadNote("far too long for a note")
    try:
        text = data if isinstance(data, str) else data.decode()
        text.encode()
    except UnicodeError:
        raise BadNote("not UTF-8") from None
    if any(c < " " and c != "\n" for c in text):
        raise BadNote("a control character")
    return text


def read_line(text: str) -> SignatureLine:
    """One signature line, without its newline.

    Raises:
        BadNote: any other shape.
    """
    name, space, coded = text.removeprefix(_DASH).partition(" ")
    try:
        data = decode64(coded)
    except ValueError:
        raise BadNote("a signature is not base64") from None
    if not text.startswith(_DASH) or not space or not is_key_name(name):
        raise BadNote("a signature line reads “— name base64”")
    if len(data) <= KEY_ID_BYTES:
        raise BadNote("a signature line without a signature")
    return SignatureLine(name, data[:KEY_ID_BYTES], data[KEY_ID_BYTES:])


def open_note(note: Note | bytes | str, trusted: Sequence[VerifierKey]) -> Opened:
    """The note, once a trusted key vouches for it. Lines of unknown keys are set apart.

    Raises:
        BadNote: not a note; no line of a trusted key; a trusted key's line that fails.
        ValueError: two trusted keys of one name and ID, which no line could tell apart.
    """
    keys = {(key.name, key.key_id): key for key in trusted}
    if len(keys) != len(trusted):
        raise ValueError("two trusted keys have the same name and ID")
    whole = note if isinstance(note, Note) else read_note(note)
    verified: dict[tuple[str, bytes], Verified] = {}
    unknown: list[SignatureLine] = []
    for line in whole.lines:
        key = keys.get((line.name, line.key_id))
        if key is None:
            unknown.append(line)
        else:
            verified[key.name, key.key_id] = _verified(key, whole.text, line)
    if not verified:
        raise BadNote("no trusted key vouches for it")
    return Opened(whole.text, tuple(verified.values()), tuple(unknown))


def _verified(key: VerifierKey, text: str, line: SignatureLine) -> Verified:
    held = key.check(text, line.signature)
    if held is None:
        raise BadNote(f"the signature of {key.name} does not hold")
    return held


def open_checkpoint(
    note: Note | bytes | str, log: VerifierKey, others: Sequence[VerifierKey] = ()
) -> tuple[Checkpoint, Opened]:
    """A checkpoint that the log itself signed, under its own name.

    Raises:
        BadNote: as :func:`open_note`; also where the log's own line is missing or the
            origin is not the log's name.
        NotACheckpoint: the text is not a checkpoint's.
    """
    opened = open_note(note, (log, *others))
    if not any((one.name, one.key_id) == (log.name, log.key_id) for one in opened.verified):
        raise BadNote(f"it is not signed by {log.name}")
    checkpoint = read_body(opened.text)
    if checkpoint.origin != log.name:
        raise BadNote(f"it is of another log, {checkpoint.origin}")
    return checkpoint, opened

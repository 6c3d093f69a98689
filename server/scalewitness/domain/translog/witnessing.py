"""What log and witness say to each other: ``POST /add-checkpoint`` (C2SP tlog-witness)."""

import re
from typing import Final

import msgspec

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.checkpoints import NotACheckpoint, read_size
from scalewitness.domain.translog.keys import BadKey, KeyType, VerifierKey, read_verifier
from scalewitness.domain.translog.notes import Note, SignatureLine, read_line

CONFLICT_TYPE: Final = "text/x.tlog.size"
"""The content type of a 409's body: the size the witness has, and a newline."""


class Target(msgspec.Struct, frozen=True):
    """An outside witness: its cosigning key, and where it takes checkpoints."""

    key: VerifierKey
    url: str

    @property
    def address(self) -> str:
        return f"{self.url}/add-checkpoint"


def read_target(text: str) -> Target:
    """A target from ``key url``.

    Raises:
        BadKey: another shape, or a key that does not cosign.
    """
    key, _, url = text.strip().partition(" ")
    verifier = read_verifier(key)
    if verifier.type is KeyType.ED25519:
        raise BadKey(f"{verifier.name} is a log's key, not a witness's")
    if not re.fullmatch(r"https?://[^\s/?#@]+(/[^\s?#]*)?", url.strip()):
        raise BadKey(f"{verifier.name} needs the address of a witness behind it")
    return Target(verifier, url.strip().rstrip("/"))


class AddCheckpoint(msgspec.Struct, frozen=True):
    """A checkpoint to cosign and the proof that it extends the tree of ``old`` leaves."""

    old: int
    proof: tuple[bytes, ...]
    checkpoint: Note

    def __str__(self) -> str:
        hashes = "".join(f"{encode64(one)}\n" for one in self.proof)
        return f"old {self.old}\n{hashes}\n{self.checkpoint}"


def read_cosignatures(data: bytes) -> tuple[SignatureLine, ...]:
    """The signature lines of a witness's answer.

    Raises:
        BadNote: anything else in it.
    """
    return tuple(map(read_line, data.decode(errors="replace").splitlines()))


def read_conflict(data: bytes) -> int | None:
    """The size a 409 tells; None where it tells none."""
    try:
        return read_size(data.decode().removesuffix("\n"))
    except (NotACheckpoint, UnicodeDecodeError):
        return None

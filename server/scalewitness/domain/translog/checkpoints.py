"""The body of a log's checkpoint: origin, size, root (C2SP tlog-checkpoint)."""

import re
from typing import Final

import msgspec

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.tree import EMPTY_ROOT, HASH_BYTES, MAX_SIZE

_SIZE: Final = re.compile(r"0|[1-9][0-9]*")
_SIZE_DIGITS: Final = 20


class NotACheckpoint(ValueError):
    """The text is not a checkpoint's body."""


class Checkpoint(msgspec.Struct, frozen=True):
    """A tree of ``size`` entries with this ``root`` (32 bytes) in the log ``origin``."""

    origin: str
    size: int
    root: bytes
    extensions: tuple[str, ...] = ()

    def body(self) -> str:
        """The text that is signed, its final newline included."""
        lines = (self.origin, str(self.size), encode64(self.root), *self.extensions)
        return "".join(f"{line}\n" for line in lines)


def read_body(text: str) -> Checkpoint:
    """Read :meth:`Checkpoint.body` back.

    Raises:
        NotACheckpoint: any other text: a missing line or newline, an empty origin, a size
            with leading zeros or beyond 64 bits, a root that is not 32 bytes, an empty
            extension line, a root that cannot be the empty tree's.
    """
    lines = text.split("\n")
    if len(lines) < 4 or lines.pop() != "":
        raise NotACheckpoint("a checkpoint has origin, size and root, each with a newline")
    origin, size, root, *extensions = lines
    if not origin or not all(extensions):
        raise NotACheckpoint("an empty line")
    checkpoint = Checkpoint(origin, read_size(size), _root(root), tuple(extensions))
    if (checkpoint.size == 0) != (checkpoint.root == EMPTY_ROOT):
        raise NotACheckpoint("only the empty tree has the empty tree's root")
    return checkpoint


def read_size(text: str) -> int:
    """A size in decimal digits without leading zeros.

    Raises:
        NotACheckpoint: anything else, and what 64 bits cannot hold.
    """
    if len(text) > _SIZE_DIGITS or not _SIZE.fullmatch(text) or int(text) > MAX_SIZE:
        raise NotACheckpoint("the size is not a decimal number of 64 bits")
    return int(text)


def _root(text: str) -> bytes:
    try:
        root = decode64(text)
    except ValueError:
        raise NotACheckpoint("the root is not base64") from None
    if len(root) != HASH_BYTES:
        raise NotACheckpoint(f"the root has {len(root)} bytes, not {HASH_BYTES}")
    return root

"""Witness keys that their keepers revoked, as this machine knows.

A log can only take trust away by saying so, and what it said once is remembered here for good. So
its bare word is enough: a log that lies loses the witness that spoke for it.
"""

from collections.abc import Iterable, Mapping
from typing import Protocol

import msgspec

from scalewitness.domain.translog.keys import BadKey, Verified, read_verifier
from scalewitness_cli.locking import write_whole
from scalewitness_cli.memory import Memory
from scalewitness_cli.remote import Stopped

FILE = "revoked_witnesses"


class Revocation(msgspec.Struct, frozen=True):
    """What this witness says of trees of ``size`` or larger is worth nothing."""

    key: str
    size: int


class _Answer(msgspec.Struct, frozen=True):
    revoked: list[Revocation] = []


class TellsRevoked(Protocol):
    def revoked_witnesses(self) -> bytes | None: ...


def learn(memory: Memory, log: TellsRevoked) -> None:
    """Ask the log which witnesses are revoked, and remember it.

    Raises:
        Stopped: no answer, or one that is none.
    """
    data = log.revoked_witnesses()
    if data is None:
        return
    try:
        revoked = msgspec.json.decode(data, type=_Answer).revoked
    except msgspec.MsgspecError as fault:
        raise Stopped(f"What the log says of its witnesses cannot be read: {fault}") from None
    with memory.alone():
        kept = known(memory)
        smallest = {one.key: min(one.size, kept.get(one.key, one.size)) for one in revoked}
        write_whole(memory.folder / FILE, msgspec.json.encode({**kept, **smallest}))


def known(memory: Memory) -> dict[str, int]:
    """Of each witness key that is known to be revoked, from which size of the tree on.

    Raises:
        Stopped: the file is damaged.
    """
    path = memory.folder / FILE
    try:
        return msgspec.json.decode(path.read_bytes(), type=dict[str, int]) if path.is_file() else {}
    except msgspec.MsgspecError as fault:
        raise Stopped(f"{path} is damaged: {fault}") from None


def revoked_among(
    lines: Iterable[Verified], revoked: Mapping[str, int], size: int
) -> dict[Verified, int]:
    """Of lines under a checkpoint of this size, those that are worth nothing, and from which size
    on their witness is revoked."""
    ends = {named: end for key, end in revoked.items() if (named := _named(key))}
    found = {one: ends.get((one.name, one.key_id)) for one in lines}
    return {one: end for one, end in found.items() if end is not None and end <= size}


def _named(key: str) -> tuple[str, bytes] | None:
    try:
        read = read_verifier(key)
    except BadKey:
        return None
    return read.name, read.key_id

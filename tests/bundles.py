"""Bundles of another log: what this one gives out, signed once more under another name. Entries,
tree and map are the same, so all of it holds."""

from base64 import b64decode, b64encode
from collections.abc import Callable
from typing import Any

import msgspec

from scalewitness.domain.translog.bundle import Bundle, read_bundle
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signed

ELSEWHERE = Signer("elsewhere.example/log", KeyType.ED25519, bytes(range(3, 35)))
STRANGE = Signer("elsewhere.example/log", KeyType.ED25519, bytes(range(4, 36)))


def carried(data: bytes, by: Signer = ELSEWHERE) -> bytes:
    """The same record as another log has it."""
    bundle = read_bundle(data)
    head = read_body(read_note(bundle.checkpoint).text)
    note = str(signed(Checkpoint(by.name, head.size, head.root).body(), by))
    return altered(data, checkpoint=note, key=str(by.verifier))


def altered(data: bytes, **members: Any) -> bytes:
    return msgspec.json.encode({**msgspec.json.decode(data), **members})


def with_entry(data: bytes, change: Callable[[bytes], bytes]) -> bytes:
    """With its first entry's bytes changed."""
    bundle: Bundle = read_bundle(data)
    entries = msgspec.to_builtins(bundle.entries)
    entries[0]["entry"] = b64encode(change(b64decode(entries[0]["entry"]))).decode()
    return altered(data, entries=entries)

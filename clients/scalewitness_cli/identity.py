"""Who this device is at a server: keeper, token, key."""

import os
import time
from datetime import UTC, datetime
from typing import Any

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness.domain.ids import uuid7
from scalewitness_cli.devicekey import DeviceKey
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

_decode = msgspec.json.Decoder


class Identity(msgspec.Struct, frozen=True, kw_only=True):
    """``private`` in hexadecimal; it and ``token`` are empty after signing out. ``enrolment`` is
    what the server is sent to know the key, the same each time, until ``enrolled``.
    ``origin`` names the log whose key is trusted; None: none is, so nothing can be checked
    against it."""

    keeper: str
    name: str
    email: str
    device: str
    device_name: str
    token: str
    private: str
    enrolment: dict[str, Any]
    enrolled: bool = False
    origin: str | None = None

    @property
    def key(self) -> DeviceKey:
        private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(self.private))
        return DeviceKey(private, keeper=self.keeper, device=self.device)


def identity_of(store: Store) -> Identity | None:
    found = store.rows("SELECT content FROM identity")
    return _decode(Identity).decode(found[0]["content"]) if found else None


def need_identity(store: Store) -> Identity:
    """Raises Stopped unless signed in."""
    found = identity_of(store)
    if found is None or not found.token:
        raise Stopped(f"Not signed in at {store.url}: scalewitness sign-in {store.url}")
    return found


def keep_identity(store: Store, identity: Identity) -> None:
    content = msgspec.json.encode(identity).decode()
    with store.change() as connection:
        connection.execute("INSERT OR REPLACE INTO identity VALUES (1, ?)", (content,))


def moment_now() -> datetime:
    """This device's clock; a claim like any other."""
    return datetime.fromtimestamp(time.time(), UTC)


def fresh_id() -> str:
    return str(uuid7(time.time_ns() // 1_000_000, os.urandom(10)))

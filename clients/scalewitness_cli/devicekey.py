"""The key of this device, and facts signed with it.

What is signed is the log's entry with ``sig`` null, so a fact must be brought into the very
form the log gives it before it is sent: the time in UTC with milliseconds, text in NFC,
members at their default left out, each free text as a commitment under a salt drawn here.
"""

import os
import unicodedata
from collections.abc import Mapping
from typing import Any

import msgspec
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from scalewitness.domain.facts import BODIES
from scalewitness.domain.moments import parse_moment, rfc3339
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.commitment import SALT_BYTES, commit
from scalewitness.domain.translog.leaf import signable_bytes

Fact = dict[str, Any]
Salted = dict[str, dict[str, str]]


class DeviceKey:
    """An Ed25519 key held by one keeper's device (both as the server calls them)."""

    def __init__(self, private: Ed25519PrivateKey, *, keeper: str, device: str) -> None:
        self._private = private
        self.keeper = keeper
        self.device = device

    @property
    def public(self) -> str:
        """The 32 public bytes in hexadecimal."""
        return self._private.public_key().public_bytes_raw().hex()

    def enrolment(self, id: str, at: str, *, recovery: bool = False) -> Fact:
        """What ``POST devices/{id}/key`` takes, or ``POST recovery-keys/{id}`` for a key that is
        for ``recovery``. ``at`` in RFC 3339."""
        body = {"device": self.device, "key": self.public} | (
            {"recovery": True} if recovery else {}
        )
        about = {"kind": "device_key_enrolled", "about": self.keeper}
        fact = self.signed({"id": id, "at": at, "body": body, **about})
        return {"id": id, "at": fact["at"], "key": self.public, "sig": fact["sig"]}

    def signed(self, fact: Mapping[str, Any], texts: Salted | None = None) -> Fact:
        """The fact as a push takes it, with everything salted that needs to be, and signed.

        ``texts``: its texts as salted before, where it was signed before.

        Raises:
            ValueError: ``at`` is no moment, or the body is not its kind's.
        """
        at = rfc3339(parse_moment(fact["at"]))
        texts = texts or _salted(fact.get("texts", {}))
        body = _as_logged(fact["kind"], fact["body"], texts)
        signature = self._private.sign(
            signable_bytes(
                kind=fact["kind"],
                id=fact["id"],
                by=self.keeper,
                device=self.device,
                at=at,
                about=fact["about"],
                body=body,
            )
        )
        sent = dict(fact) | {"at": at, "body": body, "sig": encode64(signature)}
        return sent | ({"texts": texts} if texts else {})


def _salted(texts: Mapping[str, str]) -> Salted:
    return {
        field: {
            "text": unicodedata.normalize("NFC", text),
            "salt": os.urandom(SALT_BYTES).hex(),
        }
        for field, text in texts.items()
    }


def _as_logged(kind: str, body: Mapping[str, Any], texts: Salted) -> dict[str, Any]:
    made = {field: commit(one["text"], bytes.fromhex(one["salt"])) for field, one in texts.items()}
    typed = msgspec.convert(dict(body) | made, BODIES[kind])
    built: dict[str, Any] = msgspec.to_builtins(typed)
    return built

"""What a full check found sound, kept in a file outside the database, so that the next one need not
read all of it again."""

import hmac
from hashlib import sha256
from pathlib import Path

import msgspec
from django.conf import settings

from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.domain.translog.regrowth import Regrowth
from scalewitness.fsck.log import Versions
from scalewitness.fsck.older import Digests


class Sound(msgspec.Struct):
    """As of the last check without a difference: the tree over the entries, whose devices' keys
    they tell of, and digests of what they left in tables."""

    origin: str
    tree: Regrowth
    devices: DeviceKeys
    versions: Versions
    digests: Digests


class _Sealed(msgspec.Struct):
    """``seal``: over ``sound`` under the log's own key, which is in no database either."""

    sound: msgspec.Raw
    seal: str


class NotKept(ValueError):
    """The file holds nothing that can be gone on from; the text says why, as a clause."""


def read_sound(file: Path, origin: str) -> Sound | None:
    """What was kept; None: there is no such file yet.

    Raises:
        NotKept: of another log, under another key, or altered.
    """
    if not file.exists():
        return None
    try:
        kept = msgspec.json.decode(file.read_bytes(), type=_Sealed)
        if not hmac.compare_digest(kept.seal, _seal(bytes(kept.sound))):
            raise NotKept("was altered, or kept under another key")
        sound = msgspec.json.decode(kept.sound, type=Sound)
    except msgspec.DecodeError as fault:
        raise NotKept(f"does not hold what a check found: {fault}") from None
    if sound.origin != origin:
        raise NotKept(f"is of {sound.origin}")
    return sound


def keep_sound(file: Path, sound: Sound) -> None:
    """Write it whole or not at all."""
    data = msgspec.json.encode(sound)
    fresh = file.with_name(f"{file.name}.new")
    fresh.write_bytes(msgspec.json.encode(_Sealed(msgspec.Raw(data), _seal(data))))
    fresh.replace(file)


def _seal(data: bytes) -> str:
    key = sha256(b"scalewitness fsck\n" + settings.LOG_SIGNING_KEY.encode()).digest()
    return hmac.digest(key, data, "sha256").hex()

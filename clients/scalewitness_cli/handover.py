"""What waited on another device of the same keeper, taken over from a file.

A phone that signs out writes what it has not sent to a file: ``{"scalewitness": "unsent-1",
"server", "keeper", "items", "edits", "photos", "practitioners", "hatch_days"}``, each item and each
edit of a record as a push takes it, each photo as ``{"id", "jpeg"}`` in base64, each of those that
the record was not named yet as ``{"id", "name"}``. Hatch days are a phone's to go on with. The
signatures name a device that is gone, so each item is signed anew here, under its own id: whatever
of it had arrived after all counts once.
"""

import base64
import binascii
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Literal

import msgspec

from scalewitness.domain.facts import BODIES, SYSTEM_KINDS, Id
from scalewitness.domain.ids import parse_uuid7
from scalewitness.domain.moments import parse_moment
from scalewitness_cli.devicekey import DeviceKey, Fact
from scalewitness_cli.identity import Identity
from scalewitness_cli.outbox import Handed, take_over
from scalewitness_cli.practitioners import keep_names
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store


class Text(msgspec.Struct, frozen=True):
    text: str
    salt: str


class Waiting(msgspec.Struct, frozen=True):
    """An item; what else it has is left."""

    id: Id
    kind: str
    at: str
    about: Id
    body: dict[str, Any]
    texts: dict[str, Text] = {}


class Edit(msgspec.Struct, frozen=True):
    """An edit of an animal's record; it is not signed."""

    id: Id
    record: str
    base_version: int
    fields: dict[str, Any]


class Picture(msgspec.Struct, frozen=True):
    id: Id
    jpeg: str


class Named(msgspec.Struct, frozen=True):
    id: Id
    name: str


class Unsent(msgspec.Struct, frozen=True):
    scalewitness: Literal["unsent-1"]
    server: str
    keeper: str
    items: list[Waiting]
    edits: list[Edit] = []
    photos: list[Picture] = []
    hatch_days: list[Any] = []
    practitioners: list[Named] = []


@dataclass(frozen=True, slots=True)
class Taken:
    """Items and photos now here, items that were here already, and hatch days under way, which only
    a phone goes on with."""

    items: int
    photos: int
    known: int
    hatch_days: int


def take(store: Store, identity: Identity, data: bytes, now: str) -> Taken:
    """Store all of a file, signed anew, or nothing of it; on the disk when this returns.

    Raises:
        Stopped: it is damaged, or of another keeper or server.
    """
    try:
        found = msgspec.json.decode(data, type=Unsent)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as fault:
        text = f"It is not a file of unsent items, or it is damaged: {fault}. {_NOTHING}"
        raise Stopped(text) from None
    _require_ours(store, identity, found)
    try:
        forms = [_forms(one, identity.key) for one in found.items]
        photos = _files(found)
    except ValueError as fault:
        raise Stopped(f"The file is damaged: {fault}. {_NOTHING}") from None
    names = {one.id: one.name for one in found.practitioners}
    handed: list[Handed] = [("fact", stated["about"], (stated, sent)) for stated, sent in forms]
    handed += [_edit(one) for one in found.edits]
    stored, files = take_over(
        store, identity.key, handed, photos, now, lambda changing: keep_names(changing, names)
    )
    return Taken(stored, files, len(handed) - stored, len(found.hatch_days))


_NOTHING = "Nothing of it was stored."


def _require_ours(store: Store, identity: Identity, found: Unsent) -> None:
    if found.server.rstrip("/") != store.url:
        raise Stopped(
            f"It is for {found.server}, and this is {store.url}: say --server. {_NOTHING}"
        )
    if found.keeper != identity.keeper:
        raise Stopped(f"It is another keeper's than {identity.name}'s. {_NOTHING}")


def _edit(one: Edit) -> Handed:
    form = msgspec.to_builtins(one)
    return "edit", one.record.rpartition("/")[2], (form, form)


def _forms(one: Waiting, key: DeviceKey) -> tuple[Fact, Fact]:
    """An item as it was said, and as it is sent from here.

    Raises:
        ValueError: it could never be taken.
    """
    parse_uuid7(one.id)
    parse_moment(one.at)
    if one.kind not in BODIES or one.kind in SYSTEM_KINDS:
        raise ValueError(f"there is no fact called “{one.kind[:60]}”")
    salted = {name: msgspec.to_builtins(text) for name, text in one.texts.items()}
    stated = {
        "id": one.id, "kind": one.kind, "at": one.at, "about": one.about, "body": one.body,
        **({"texts": {name: text.text for name, text in one.texts.items()}} if salted else {}),
    }  # fmt: skip
    sent = key.signed(stated, texts=salted)
    for name in salted:
        if one.body.get(name, sent["body"][name]) != sent["body"][name]:
            raise ValueError(f"the text “{name[:40]}” of {one.id} is not the one it was noted with")
    return stated, sent


def _files(found: Unsent) -> dict[str, bytes]:
    """The photos by id.

    Raises:
        ValueError: one is not the file that its fact tells of.
    """
    noted = {one.id: one.body for one in found.items if one.kind == "photo_attached"}
    files = {one.id: _decoded(one) for one in found.photos}
    for id, data in files.items():
        if id in noted and not _fits(noted[id], data):
            raise ValueError(f"the photo {id} is another file than was noted")
    return files


def _decoded(one: Picture) -> bytes:
    try:
        return base64.b64decode(one.jpeg, validate=True)
    except binascii.Error as fault:
        raise ValueError(f"the photo {one.id}: {fault}") from None


def _fits(body: Mapping[str, Any], data: bytes) -> bool:
    return body.get("sha256") == sha256(data).hexdigest() and body.get("size") == len(data)

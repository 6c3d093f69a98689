"""Bundles of another log: what this one gives out, signed once more under another name. Entries,
tree and map are the same, so all of it holds."""

from base64 import b64decode, b64encode
from collections.abc import Callable
from typing import Any
from uuid import UUID

import msgspec
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.translog.bundle import Bundle, read_bundle
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signed
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.quoting import take_quoted_file
from scalewitness.people.models import Keeper
from scalewitness.quoted.queries.reading import read_record
from scalewitness.receipts.bundles import bundled

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


def body_for(data: bytes, animal: Animal) -> dict[str, Any]:
    """Of the fact that quotes it for the animal, by its tag."""
    found = read_record(data)
    tag = animal.identifiers.filter(scheme="tag").values_list("code", flat=True)[0]
    return {
        "bundle": found.sha256,
        "origin": found.origin,
        "size": found.size,
        "animal": found.animal,
        "scheme": "tag",
        "code": tag,
    }


def quote(world: World, keeper: Keeper, animal: Animal) -> str:
    """As its keeper finds it on another server today: the quote's id."""
    data = carried(bundled(keeper.pk, animal.pk, world.now))
    made = world.say(keeper, "record_quoted", animal.pk, body_for(data, animal))
    take_quoted_file(UUID(made.id or ""), data, Actor(keeper=keeper.pk), world.now)
    return made.id or ""

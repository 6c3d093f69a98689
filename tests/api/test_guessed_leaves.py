"""What a leaf's hash, which is public, tells whoever knows nearly all of the leaf.

Leaves hold no salt. What keeps them from being guessed is their fact's id, half of which is drawn
by chance: so whoever may not read an entry is not told its id either.
"""

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from tests.api.client import Api
from tests.api.conftest import present
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.leaf import Stamp, leaf_bytes
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.ledger.models import Entry


def test_a_blind_guest_tells_no_parent_by_the_hash_of_what_names_it(world: World) -> None:
    """Greta is a partner where the young are, and is to check one of their parents blind."""
    secret = world.animal("S-1")
    visit = world.visit(world.greta, secret, days=60)
    shelf = create_collection(world.odile, new_id(world.now), "Hatchlings", world.now)
    given = {"to": str(world.greta.pk), "role": "partner"}
    world.say(world.odile, "grant_given", shelf.pk, given)
    young = world.animal("Y-1", room=shelf, dam=str(secret.pk))
    entry = Entry.objects.get(about=young.pk, kind="animal_registered")
    present(world)

    withheld = told_of(Api(world.greta), young)
    assert withheld["position"] == entry.position
    assert withheld["id"] is None
    assert bytes(entry.leaf_hash) in guesses(world, young, secret, withheld | {"id": entry.fact})
    world.call(world.greta, secret, "female", visit=visit)
    assert told_of(Api(world.greta), young)["id"] == str(entry.fact)


def told_of(reader: Api, young: Animal) -> dict[str, Any]:
    facts = reader.get(f"/animals/{young.pk}/history").body["facts"]
    (found,) = (one for one in facts if one["kind"] == "animal_registered")
    return dict(found)


def guesses(world: World, young: Animal, parent: Animal, told: dict[str, Any]) -> list[bytes]:
    """The hashes that the entry would have if the animal were its sire, and if its dam."""
    at, received = (datetime.fromisoformat(told[one]) for one in ("claimed_at", "received_at"))
    plain = {"collection": str(young.collection_id), "species": young.species}
    stamp = Stamp(f"{received.astimezone(UTC):%Y-%m-%dT%H:%M:%S.%f}Z", tuple(told["flags"]))
    return [
        leaf_hash(
            leaf_bytes(
                kind=told["kind"],
                id=UUID(str(told["id"])),
                by=world.odile.pk,
                device=None,
                at=rfc3339(at),
                about=young.pk,
                body=plain | {role: str(parent.pk)},
                sig=None,
                stamp=stamp,
            )
        )
        for role in ("sire", "dam")
    ]

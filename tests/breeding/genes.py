"""Animals with parents, and statements of their traits."""

from typing import Any

from tests.families import confirm, parentage_test
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper


def bred(world: World, tag: str, sire: Animal | None, dam: Animal | None, **more: Any) -> Animal:
    parents = {"sire": sire, "dam": dam}
    named = {role: str(one.pk) for role, one in parents.items() if one}
    return world.animal(tag, hatched=more.pop("hatched", "2025-08-01"), **named, **more)


def state(world: World, animal: Animal, says: str, who: Keeper | None = None, **more: Any) -> str:
    """Of albino, a recessive of the ball python, unless another locus is named: as seen, or by a
    DNA test."""
    seen = says in ("shows", "does_not_show")
    body = {"locus": "albino", "says": says, "basis": "seen" if seen else "dna", **more}
    texts = {"laboratory": "Dr Brandt's", "sample": "B-1177"} if body["basis"] == "dna" else {}
    made = world.say(who or world.odile, "trait_stated", animal.pk, body, texts=texts)
    assert made.status == "accepted", made.problem
    return str(made.id)


def sired(world: World, sire: Animal, young: int, **excluded: bool) -> str:
    """A laboratory's test says that so many young are its own, and Stan has read it."""
    call = parentage_test(world, sire, young, **excluded)
    confirm(world, sire, call)
    return call

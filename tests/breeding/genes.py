"""Animals with parents, and statements of their traits."""

from typing import Any

from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper, Practitioner


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


def sired(world: World, sire: Animal, young: int, **more: bool) -> str:
    """A laboratory's test says that so many young are its own, and Stan has read it."""
    named = new_id(world.now)
    Practitioner.objects.create(id=named, named_by=world.odile, name="Loci")
    excluded = ("other_males", "stored_sperm", "parthenogenesis")
    observed = {"method": "parentage", "found": "sire", "young": young}
    observed |= {f"{one}_excluded": True for one in excluded} | more
    body = probing("male", world.chip(sire)) | {"observed": observed, "document": "cd" * 32}
    body["reported"] = {"role": "laboratory", "who": str(named)}
    call = str(world.say(world.odile, "call_made", sire.pk, body).id)
    grant = world.view(world.stan, sire)
    world.say(world.stan, "document_read", sire.pk, {"call": call, "document": "cd" * 32})
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    return call

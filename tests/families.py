"""A young animal whose parents are proved: eggs that somebody else saw, and a test of the brood."""

from dataclasses import dataclass

from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.people.models import Practitioner

CAUSES = ("other_males", "stored_sperm", "parthenogenesis")


@dataclass
class Family:
    """All of Odile's. ``test``: the laboratory's, by Odile's word until somebody reads it."""

    young: Animal
    sire: Animal
    dam: Animal
    test: str


def family(world: World, *, proved: bool = True, name: str = "") -> Family:
    """Nothing is stated of their traits. ``name``: to tell one family from another."""
    sire, dam = world.animal(f"S{name}-1"), world.animal(f"D{name}-1")
    world.lays(dam)
    world.pass_time(days=60)
    parents = {"sire": str(sire.pk), "dam": str(dam.pk)}
    young = world.animal(f"Y{name}-1", hatched=world.now.date().isoformat(), **parents)
    test = brood_test(world, sire)
    if proved:
        confirm(world, sire, test)
    return Family(young, sire, dam, test)


def brood_test(world: World, sire: Animal, *, young: int = 1, excluded: bool = True) -> str:
    """A day later; ``excluded``: every other way in which the brood could have come about."""
    world.pass_time(days=1)
    return parentage_test(world, sire, young, **{f"{one}_excluded": excluded for one in CAUSES})


def parentage_test(world: World, sire: Animal, young: int, **excluded: bool) -> str:
    """A laboratory's: so many young are its own. ``excluded``: all is, but for what is named."""
    named = Practitioner.objects.create(
        id=new_id(world.now), named_by=world.odile, name="The bench in the valley"
    )
    observed = {"method": "parentage", "found": "sire", "young": young}
    observed |= {f"{one}_excluded": True for one in CAUSES} | excluded
    body = probing("male", world.chip(sire)) | {"observed": observed, "document": "cd" * 32}
    body["reported"] = {"role": "laboratory", "who": str(named.pk)}
    return world.say(world.odile, "call_made", sire.pk, body).id or ""


def confirm(world: World, sire: Animal, test: str) -> None:
    """Stan, without a share in it, reads the laboratory's document."""
    grant = world.view(world.stan, sire)
    world.say(world.stan, "document_read", sire.pk, {"call": test, "document": "cd" * 32})
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})


def result_of(world: World, animal: Animal, says: str, locus: str = "albino") -> str:
    """A laboratory's result, by the word of the animal's keeper."""
    body = {"locus": locus, "says": says, "basis": "dna"}
    keeper = Animal.objects.get(pk=animal.pk).collection.keeper
    texts = {"laboratory": "The bench in the valley"}
    return world.say(keeper, "trait_stated", animal.pk, body, texts=texts).id or ""

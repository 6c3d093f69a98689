"""Who stated what a call says, and states it no longer."""

import pytest
from tests.intake.test_reports import (
    DOCUMENT,
    answer,
    endoscopy,
    entered,
    refused,
    report,
)
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Attestation
from scalewitness.disclosures.models import Disclosure
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import name_practitioner
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def vet(world: World) -> Keeper:
    return keeper("Ilse Brandt")


@pytest.fixture
def named(world: World, vet: Keeper) -> Practitioner:
    return name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")


def eggs(world: World, who: Keeper, animal: Animal) -> str:
    """With the animal's own chip read."""
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    read = {"by": "transponder", "code": world.chip(animal)}
    made = world.call(who, animal, "female", body={"observed": seen, "identified": read})
    assert made.id is not None
    return made.id


def witness(world: World, who: Keeper, animal: Animal, call: str) -> None:
    world.view(who, animal)
    world.say(who, "witness_stated", animal.pk, {"call": call})


def withdraw(world: World, who: Keeper, animal: Animal, call: str) -> None:
    world.say(who, "witness_withdrawn", animal.pk, {"call": call})


def test_a_witness_withdraws_as_a_new_entry_and_may_state_it_again(world: World) -> None:
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    witness(world, world.stan, animal, call)
    assert (report(animal), world.label(animal)) == ("confirmed", "verified female")
    withdraw(world, world.stan, animal, call)
    assert (report(animal), world.label(animal)) == ("unconfirmed", "probable female")
    kinds = list(Attestation.objects.order_by("position").values_list("kind", flat=True))
    assert kinds == ["witness_stated", "witness_withdrawn"], "nothing is deleted"
    assert refused(world, world.stan, "witness_withdrawn", animal, {"call": call}) == "not_now"
    world.say(world.stan, "witness_stated", animal.pk, {"call": call})
    assert (report(animal), world.label(animal)) == ("confirmed", "verified female")
    assert list(Replay().differences()) == []


def test_only_who_stated_it_withdraws_it_also_without_access(world: World) -> None:
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    grant = world.view(world.stan, animal)
    world.say(world.stan, "witness_stated", animal.pk, {"call": call})
    for who in (world.odile, world.greta):
        assert refused(world, who, "witness_withdrawn", animal, {"call": call}) == "not_found"
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    withdraw(world, world.stan, animal, call)
    assert report(animal) == "unconfirmed"


def test_what_another_witness_stated_stands(world: World) -> None:
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    for who in (world.stan, world.greta):
        witness(world, who, animal, call)
    withdraw(world, world.stan, animal, call)
    assert report(animal) == "confirmed"
    withdraw(world, world.greta, animal, call)
    assert report(animal) == "unconfirmed"


@pytest.mark.parametrize("first", ["document", "answer"])
@pytest.mark.parametrize("proved", [True, False])
def test_what_whom_it_names_answered_stands_if_it_counted_by_itself(
    world: World, named: Practitioner, vet: Keeper, first: str, proved: bool
) -> None:
    """In whichever order; an address that the sender gave confirms nothing."""
    animal = world.animal("R1")
    call = endoscopy(world, animal, named, document=DOCUMENT)
    entered(world, named, vet, None if proved else world.odile)
    world.view(world.stan, animal)
    for what in ("document", "answer") if first == "document" else ("answer", "document"):
        if what == "answer":
            answer(world, vet, animal, call, "confirmed")
        else:
            read = {"call": call, "document": DOCUMENT}
            world.say(world.stan, "document_read", animal.pk, read)
    assert report(animal) == "confirmed"
    withdraw(world, world.stan, animal, call)
    assert report(animal) == ("confirmed" if proved else "unconfirmed")


def test_a_denial_stands_whoever_withdraws(world: World, named: Practitioner, vet: Keeper) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named, document=DOCUMENT)
    entered(world, named, vet)
    world.view(world.stan, animal)
    world.say(world.stan, "document_read", animal.pk, {"call": call, "document": DOCUMENT})
    answer(world, vet, animal, call, "denied")
    withdraw(world, world.stan, animal, call)
    assert report(animal) == "denied"


def test_a_buyer_who_relied_on_it_is_told_why(world: World) -> None:
    animal = world.animal("R1")
    call = eggs(world, world.odile, animal)
    witness(world, world.stan, animal, call)
    world.sold(animal)
    withdraw(world, world.stan, animal, call)
    assert Disclosure.objects.get().change == "fell"
    (letter,) = Letter.objects.filter(kind="disclosure")
    assert letter.context["cause_kind"] == "witness_withdrawn"

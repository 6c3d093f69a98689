"""A report stands on nobody's word who deceived, nor on an address that only its sender knows."""

import pytest
from django.core.management import call_command
from tests.intake.test_reports import answer, endoscopy, entered, report
from tests.world import World, keeper, new_id, probing, vouched

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Attestation
from scalewitness.disputes.models import Dispute, Finding
from scalewitness.intake.statements import find_deceit
from scalewitness.pages.animals.evidence import by_name
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import name_practitioner
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.due import due
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
DOCUMENT = "ab" * 32


def holds_together() -> None:
    assert list(Replay().differences()) == []
    call_command("fsck")


def found_to_deceive(world: World, who: Keeper, animal: Animal) -> None:
    opened = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.odile, "dispute_opened", new_id(world.now), opened)
    dispute = Dispute.objects.latest("position").pk
    texts = {"reasons": "They were elsewhere that day."}
    said = {"outcome": "calls_stand"}
    found = world.say(world.odile, "finding_recorded", dispute, said, texts=texts)
    find_deceit(who.pk, Finding.objects.get(pk=found.id).pk, world.now)


def read_by(world: World, animal: Animal, call: str, *people: Keeper) -> None:
    for who in people:
        world.view(who, animal)
        world.say(who, "document_read", animal.pk, {"call": call, "document": DOCUMENT})


@pytest.fixture
def named(world: World) -> Practitioner:
    return name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")


def reported(world: World, named: Practitioner, tag: str = "R1") -> tuple[Animal, str]:
    animal = world.animal(tag)
    read = {"by": "transponder", "code": world.chip(animal)}
    return animal, endoscopy(world, animal, named, document=DOCUMENT, identified=read)


def test_a_report_that_a_deceiver_confirmed_verifies_nothing(
    world: World, named: Practitioner
) -> None:
    (animal, call), bad = reported(world, named), vouched(keeper("Bad"), world.now)
    other, elsewhere = reported(world, named, "R2")
    read_by(world, animal, call, bad)
    read_by(world, other, elsewhere, bad)
    assert world.label(animal) == "verified male"
    found_to_deceive(world, bad, other)
    assert (world.label(animal), report(animal)) == ("probable male", "confirmed")
    assert due() == []
    holds_together()


def test_another_s_confirmation_of_it_stands(world: World, named: Practitioner) -> None:
    (animal, call), bad = reported(world, named), vouched(keeper("Bad"), world.now)
    read_by(world, animal, call, bad, world.stan)
    found_to_deceive(world, bad, animal)
    assert world.label(animal) == "verified male"
    assert Attestation.objects.get(kind="report_reopened").footing == "founder"
    assert due() == []
    holds_together()


def test_of_a_deceiver_s_report_no_reading_of_its_paper_counts(world: World) -> None:
    bad = vouched(keeper("Bad"), world.now)
    vet, theirs = keeper("Ilse Brandt"), name_practitioner(bad, new_id(world.now), "Dr Brandt")
    read, answered = world.animal("R1"), world.animal("R2")
    calls = [
        str(world.say(bad, "call_made", one.pk, _by(world, bad, one, theirs)).id)
        for one in (read, answered)
    ]
    read_by(world, read, calls[0], world.stan)
    entered(world, theirs, vet)
    answer(world, vet, answered, calls[1], "confirmed")
    assert [world.label(one) for one in (read, answered)] == ["verified male"] * 2
    found_to_deceive(world, bad, read)
    assert [world.label(one) for one in (read, answered)] == ["probable male", "verified male"]
    read_by(world, read, calls[0], world.fenna)
    assert world.label(read) == "probable male", "she read what the deceiver showed her"
    holds_together()


def _by(world: World, who: Keeper, animal: Animal, named: Practitioner) -> dict[str, object]:
    body = probing("male", world.chip(animal))
    body |= {"observed": {"method": "endoscopy", "seen": "testes"}, "document": DOCUMENT}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    return body | {"visit": str(world.visit(who, animal))}


def test_what_a_deceiver_says_again_verifies_nothing(world: World, named: Practitioner) -> None:
    (animal, call), bad = reported(world, named), vouched(keeper("Bad"), world.now)
    read_by(world, animal, call, bad)
    found_to_deceive(world, bad, animal)
    world.say(bad, "witness_withdrawn", animal.pk, {"call": call})
    assert report(animal) == "unconfirmed"
    world.say(bad, "document_read", animal.pk, {"call": call, "document": DOCUMENT})
    assert world.label(animal) == "probable male"
    holds_together()


def test_an_address_that_the_sender_gave_lends_a_newcomer_s_reading_no_footing(
    world: World, named: Practitioner
) -> None:
    animal, call = reported(world, named)
    read_by(world, animal, call, keeper("New"))
    puppet = keeper("Puppet")
    entered(world, named, puppet, by=world.odile)
    answer(world, puppet, animal, call, "confirmed")
    assert (world.label(animal), report(animal)) == ("probable male", "confirmed")
    holds_together()


def test_readers_are_told_that_what_confirmed_it_settles_nothing(
    world: World, named: Practitioner
) -> None:
    (animal, call), bad = reported(world, named), vouched(keeper("Bad"), world.now)
    read_by(world, animal, call, bad)
    found_to_deceive(world, bad, animal)
    (shown,) = by_name(dossier(animal))
    assert shown.report is not None
    assert shown.report.endswith("stands behind that, so it settles nothing.")

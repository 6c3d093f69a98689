"""Everyone concerned learns that a report was denied, and nobody is told a sex by that letter."""

import pytest
from tests.intake.test_reports import answer, endoscopy, entered
from tests.world import World, keeper, new_id

from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import name_practitioner

pytestmark = pytest.mark.django_db


@pytest.fixture
def vet() -> Keeper:
    return keeper("Ilse Brandt")


@pytest.fixture
def named(world: World, vet: Keeper) -> Practitioner:
    found = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    entered(world, found, vet)
    return found


def told(kind: str = "report_answered") -> set[str]:
    return set(Letter.objects.filter(kind=kind).values_list("to", flat=True))


@pytest.mark.parametrize(("rests", "buyers"), [(True, {"bela@buyers.example"}), (False, set())])
def test_a_denial_is_told_to_holder_partners_and_whoever_it_was_offered_to_since(
    world: World, vet: Keeper, named: Practitioner, rests: bool, buyers: set[str]
) -> None:
    """A sale offered before the report does not rest on it."""
    world.make_partner(world.pim)
    animal = world.animal("R1")
    if not rests:
        world.offer(world.draft(animal))
    call = endoscopy(world, animal, named)
    if rests:
        world.offer(world.draft(animal))
    answer(world, vet, animal, call, "denied")
    assert told() == {world.odile.email, world.pim.email}
    assert told("report_answered_buyer") == buyers


def test_a_confirmation_is_told_only_after_a_denial(
    world: World, vet: Keeper, named: Practitioner
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    answer(world, vet, animal, call, "confirmed")
    assert told() == set()
    answer(world, vet, animal, call, "denied")
    answer(world, vet, animal, call, "confirmed")
    subjects = [compose(one).subject for one in Letter.objects.filter(kind="report_answered")]
    assert sorted(one.partition(":")[0] for one in subjects) == [
        "A denied check was confirmed after all",
        "A reported check was denied",
    ]


def test_whoever_sent_it_hears_of_it_where_the_animal_is_another_s_by_now(
    world: World, vet: Keeper, named: Practitioner
) -> None:
    animal = world.animal("R1")
    call = endoscopy(world, animal, named)
    sale = world.sold(animal, email=world.stan.email)
    world.say(world.odile, "handed_over", sale.pk)
    Letter.objects.all().delete()
    answer(world, vet, animal, call, "denied")
    assert world.odile.email in told()
    letter = Letter.objects.filter(kind="report_answered").first()
    assert letter is not None
    message = compose(letter)
    for word in ("male", "testes", "verified"):
        assert word not in f"{message.subject} {message.body}"

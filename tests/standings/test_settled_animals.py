"""What numbers are learned from: settled by confirmed proof, checked by those who did not know."""

from decimal import Decimal

import pytest
from tests.intake.test_examiner_records import checked
from tests.intake.test_reports import answer, endoscopy, entered
from tests.learned import publish
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.domain.sexing.learning.numbers import LearnedNumber
from scalewitness.domain.sexing.learning.settled import SettledAnimal, looks_of
from scalewitness.intake.numbers import adopt_numbers
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.services import name_practitioner
from scalewitness.standings import services
from scalewitness.standings.models import NumbersCandidate
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.logged import latest_standing
from scalewitness.standings.queries.replay import Replay
from scalewitness.standings.queries.settled_animals import settled_animals
from scalewitness.standings.tasks import learn_numbers

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]


def settled(world: World, tag: str, sex: str = "female") -> Animal:
    """Greta checked it blind, and it laid eggs that a neighbour saw too."""
    animal = checked(world, tag, sex)
    world.lays(animal)
    return animal


def concluded(one: SettledAnimal) -> list[str]:
    """By those who did not make the proof, and were blind."""
    others = [check for check in one.checks if check.examiner not in one.provers]
    return [check.conclusion for check in others if check.blind]


def test_an_animal_tells_by_whom_it_was_checked_blind_before_it_was_settled(world: World) -> None:
    animal = settled(world, "S1", "male")
    world.call(world.odile, animal, "female")
    (found,) = settled_animals(world.now)
    assert (found.species, found.sex) == ("python_regius", "female")
    assert found.collection == str(world.odile.pk), "by keeper: five collections are still one"
    assert concluded(found) == ["male"], "neither the eggs nor a call that knew of them"
    assert found.checks[0].examiner == str(world.greta.pk)
    assert [one.conclusion for one in found.checks] == ["male", "female", "female"]
    assert found.checks[2].anchored_to == "female", "from whom it is learned how often they follow"
    assert str(world.greta.pk) not in found.provers
    assert {one.examiner for one in found.checks if one.method == "reproduction"} <= set(
        found.provers
    )


def test_what_its_keeper_was_told_first_tells_how_often_sellers_are_wrong(world: World) -> None:
    """Not what they heard once something was on record; a veterinarian proves it."""
    animal, vet = world.animal("S1"), keeper("Ilse Brandt")
    named = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    told = {"observed": {"method": "statement", "source": "seller"}}
    world.call(world.odile, animal, "female", body=told)
    entered(world, named, vet)
    read = {"by": "transponder", "code": world.chip(animal)}
    seen = endoscopy(world, animal, named, identified=read)
    answer(world, vet, animal, seen, "confirmed")
    world.call(world.odile, animal, "male", body=told)
    (found,) = settled_animals(world.now)
    (look,) = looks_of(0, found)
    assert (found.sex, look.call.method, look.call.conclusion) == ("male", "statement", "female")


def test_what_nobody_confirmed_settles_nothing(world: World) -> None:
    animal = checked(world, "S1", "male")
    eggs = {"observed": {"method": "reproduction", "event": "laid_eggs", "witnessed": True}}
    world.say(world.odile, "call_made", animal.pk, probing("female", tag_of(animal)) | eggs)
    vet = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    seen = {"observed": {"method": "endoscopy", "seen": "testes"}}
    seen |= {"reported": {"role": "veterinarian", "who": str(vet.pk)}}
    other = checked(world, "S2", "male")
    world.say(world.odile, "call_made", other.pk, probing("male", tag_of(other)) | seen)
    assert settled_animals(world.now) == []


def test_proof_that_is_withdrawn_is_no_proof_any_more(world: World) -> None:
    animal = settled(world, "S1")
    eggs = animal.calls.get(method="reproduction")
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(eggs.pk)})
    assert settled_animals(world.now) == []


def test_an_animal_given_away_stays_its_first_keepers(world: World) -> None:
    """Else whoever gives their animals to twenty people would have twenty voices."""
    animal = settled(world, "S1")
    room = create_collection(world.stan, new_id(world.now), "Elsewhere", world.now)
    world.say(world.stan, "grant_given", room.pk, {"to": str(world.odile.pk), "role": "partner"})
    world.say(world.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "given"})
    animal.refresh_from_db()
    assert animal.collection_id == room.pk
    assert [one.collection for one in settled_animals(world.now)] == [str(world.odile.pk)]


# --- blindness ----------------------------------------------------------------------------


def test_what_is_settled_while_somebody_is_to_check_it_blind_is_learned_from_after_that(
    world: World,
) -> None:
    animal = checked(world, "S1", "male")
    visit = world.visit(world.stan, animal)
    world.lays(animal)
    assert settled_animals(world.now) == []
    world.call(world.stan, animal, "female", visit=visit)
    (found,) = settled_animals(world.now)
    assert concluded(found) == ["male", "female"]


def test_what_was_learned_from_before_neither_goes_nor_changes_when_a_guest_comes(
    world: World,
) -> None:
    """That it goes would tell the guest that it is settled, and which sex one is fewer of."""
    animal = settled(world, "S1", "male")
    publish(world, {})
    before = settled_animals(world.now)
    world.pass_time(hours=1)
    world.visit(world.stan, animal, days=10)
    assert settled_animals(world.now) == before
    publish(world, {})
    eggs = animal.calls.get(method="reproduction")
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(eggs.pk)})
    world.pass_time(days=1)
    assert settled_animals(world.now) == before, "nor does he learn that eggs are gone"
    settled(world, "S2")
    assert len(settled_animals(world.now)) == 2, "others go on"
    world.pass_time(days=10 + 14)
    assert len(settled_animals(world.now)) == 1, "until the visit is over"


# --- the nightly task ---------------------------------------------------------------------


def test_the_nightly_task_publishes_and_states_nothing(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    settled(world, "S1", "male")
    given: list[SettledAnimal] = []

    def learn(animals: list[SettledAnimal], numbers: object) -> tuple[()]:
        given.extend(animals)
        return ()

    monkeypatch.setattr(services, "learn", learn)
    size = tip().size
    assert learn_numbers() == 0
    assert tip().size == size
    made = NumbersCandidate.objects.get()
    assert (made.learned_until, made.builds_on) == (size, "sexing-3")
    assert len(given) == 1


def test_so_many_numbers_are_published_as_an_entry_holds(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The habits of a thousand examiners; those learned from most animals are kept."""
    many = tuple(
        LearnedNumber(
            f"depth_bias.{n:08x}-0000-7000-8000-000000000000",
            Decimal("0.5"),
            Decimal("0.2"),
            Decimal("0.8"),
            n % 50,
            n % 40,
            1,
            3,
        )
        for n in range(1000)
    )
    monkeypatch.setattr(services, "learn", lambda animals, numbers: many)
    services.learn_numbers(world.now)
    kept = NumbersCandidate.objects.get().numbers
    assert 200 < len(kept) < 1000
    assert min(one["males"] + one["females"] for one in kept) > 20
    assert adopt_numbers(world.now).version == "sexing-3.1"


def test_what_enough_animals_tell_is_learned_and_comes_into_force(world: World) -> None:
    """By the fit itself, from the record, and as standings are worked out with it: twenty animals
    of five keepers, each checked by a guest of theirs. Of fewer nothing is learned."""
    houses = [world, *(house(world, f"of house {n}") for n in range(4))]
    for n in range(20):
        host = houses[n % 5]
        host.now = world.now
        animal = host.animal(f"S{n}")
        read = {"identified": {"by": "transponder", "code": host.chip(animal)}}
        visit = host.visit(host.greta, animal)
        host.call(host.greta, animal, "female" if n else "male", visit=visit, body=read)
        host.lays(animal)
        if n == 18:
            few = services.learn_numbers(world.now)
            assert not few.numbers
    made = services.learn_numbers(world.now)
    (number,) = [one for one in made.numbers if one["name"] == "error.keeper.probing.female"]
    assert (number["females"], number["collections"], number["examiners"]) == (20, 5, 5)
    adopt_numbers(world.now)
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    standing = latest_standing(animal.pk)
    assert standing is not None
    assert standing.parameters == "sexing-3.1"
    used = {one.name: one for one in dossier(animal).assessment.used if one.of == "base"}
    assert used["error.keeper.probing.female"].status == "learned here"
    assert list(Replay().differences()) == []


def house(world: World, name: str) -> World:
    """Another keeper with a collection and a guest."""
    people = {who: keeper(f"{who} {name}") for who in ("odile", "pim", "greta", "stan")}
    return World(now=world.now, house=name, **people)

"""Two accounts that hold one device's key count as one examiner; the log does not name them."""

import pytest
from django.core.management import CommandError, call_command
from tests.assessed import assessment_of
from tests.signing import code, phone
from tests.world import World, keeper, probing, vouched

from scalewitness.animals.models import Animal
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper, SharedKey
from scalewitness.people.queries import same_person_as
from scalewitness.standings.queries.dossier import dossier
from scalewitness.standings.queries.replay import Replay

pytestmark = pytest.mark.django_db


def share_a_key(world: World, one: Keeper, other: Keeper) -> str:
    """The other account enrols, on a device of its own, the key of the one's."""
    first, second = phone(world, one), phone(world, other, enrolled=False)
    second.key._private = first.key._private
    return code(second.send(second.enrolment()))


def checked(world: World, animal: Animal, *people: Keeper) -> None:
    for who in people:
        world.pass_time(days=1)
        world.call(who, animal, "male", visit=world.visit(who, animal))


def last(animal: Animal) -> dict[str, object]:
    entry = Entry.objects.filter(about=animal.pk, kind="standing_changed").latest("position")
    return dict(leaf_of(entry).body)


def two_accounts(world: World) -> tuple[Animal, Keeper, Keeper]:
    """Two guests, one with a footing, who are one person."""
    one, other = vouched(keeper("One"), world.now), keeper("Other")
    assert share_a_key(world, one, other) == "out_of_range"
    return world.animal("A1"), one, other


def test_two_accounts_with_one_key_verify_no_more_than_one(world: World) -> None:
    animal, one, other = two_accounts(world)
    checked(world, animal, one, other)
    assert world.label(animal) == "probable male"
    found, _ = assessment_of(animal)
    assert "same_person" in found.reasons
    assert any("counts as one examiner" in line.text for line in dossier(animal).lines)
    checked(world, animal, world.fenna)
    assert world.label(animal) == "verified male"
    assert list(Replay().differences()) == []


def test_the_probability_is_what_it_would_be(world: World) -> None:
    animal, one, other = two_accounts(world)
    twin = world.animal("A2")
    checked(world, animal, one, other)
    checked(world, twin, vouched(keeper("Third"), world.now), keeper("Fourth"))
    assert assessment_of(animal)[0].p_male == assessment_of(twin)[0].p_male
    assert (world.label(animal), world.label(twin)) == ("probable male", "verified male")


def test_an_account_of_the_keeper_s_own_is_no_blind_guest_that_verifies(world: World) -> None:
    animal, second = world.animal("A1"), vouched(keeper("Second"), world.now)
    share_a_key(world, world.odile, second)
    world.call(world.odile, animal, "male")
    checked(world, animal, second, keeper("New"))
    assert world.label(animal) == "probable male"


def test_eggs_that_one_account_confirms_of_the_other_settle_nothing(world: World) -> None:
    animal, second = world.animal("E1"), vouched(keeper("Second"), world.now)
    share_a_key(world, world.odile, second)
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body = probing("female", world.chip(animal)) | {"observed": seen}
    made = world.say(world.odile, "call_made", animal.pk, body)
    world.view(second, animal)
    world.say(second, "witness_stated", animal.pk, {"call": made.id})
    assert world.label(animal) == "probable female"


def test_no_entry_names_the_other_account(world: World) -> None:
    animal, one, other = two_accounts(world)
    checked(world, animal, one, other)
    (admitted,) = last(animal)["admitted"]  # type: ignore[misc]
    assert len(admitted["one_with"]) == 64
    bodies = [bytes(entry.leaf) for entry in Entry.objects.filter(by=other.pk)]
    assert not any(str(one.pk).encode() in body for body in bodies)
    assert str(one.pk) not in str(last(animal))


def test_an_objection_that_is_right_lets_both_count(world: World) -> None:
    animal, one, other = two_accounts(world)
    checked(world, animal, one, other)
    call_command("part_accounts", str(other.pk), str(one.pk))
    assert world.label(animal) == "verified male"
    assert len(last(animal)["parted"]) == 1  # type: ignore[arg-type]
    assert share_a_key(world, keeper("Third"), one) == "out_of_range"
    assert same_person_as(other.pk) == set()
    assert list(Replay().differences()) == []
    with pytest.raises(CommandError, match="never shared"):
        call_command("part_accounts", str(other.pk), str(world.stan.pk))


def test_a_third_account_links_two(world: World) -> None:
    a, b, c = (keeper(name) for name in "ABC")
    share_a_key(world, a, b)
    share_a_key(world, b, c)
    assert same_person_as(a.pk) == {b.pk, c.pk}


def test_a_second_device_of_the_same_keeper_is_no_other_account(world: World) -> None:
    share_a_key(world, world.odile, world.odile)
    assert not SharedKey.objects.exists()


def test_a_key_that_is_not_held_links_nobody(world: World) -> None:
    first, second = phone(world, world.odile), phone(world, world.stan, enrolled=False)
    forged = second.enrolment(key=first.key.public)
    assert code(second.send(forged)) == "bad_signature"
    assert not SharedKey.objects.exists()

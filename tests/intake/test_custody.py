"""Where an animal goes and who must want it: sold, lent and given back, returned, resold."""

from uuid import UUID

import pytest
from tests.intake.test_sales import refused
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import Refused
from scalewitness.intake.services import accept_one
from scalewitness.people.models import Keeper

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def shelf(world: World, keeper: Keeper) -> Collection:
    return create_collection(keeper, new_id(), f"Shelf of {keeper.name}", world.now)


def move(world: World, who: Keeper, animal: Animal, to: Collection, why: str, **more: str) -> None:
    world.say(who, "custody_changed", animal.pk, {"to": str(to.pk), "why": why, **more})


def let_in(world: World, keeper: Keeper, collection: Collection, guest: Keeper) -> None:
    world.say(keeper, "grant_given", collection.pk, {"to": str(guest.pk), "role": "partner"})


def test_a_breeding_loan_goes_to_who_let_the_lender_in_and_comes_back(world: World) -> None:
    animal, other = world.animal("L1"), shelf(world, world.stan)
    with pytest.raises(Refused) as error:
        move(world, world.odile, animal, other, "loaned")
    assert refused(error) == "not_allowed", "Stan has not let Odile in"
    let_in(world, world.stan, other, world.odile)
    move(world, world.odile, animal, other, "loaned")
    animal.refresh_from_db()
    assert animal.collection == other
    with pytest.raises(Refused) as error:
        move(world, world.odile, animal, world.collection, "returned")
    assert refused(error) == "not_found", "it is Stan's to give back"
    move(world, world.stan, animal, world.collection, "returned")
    animal.refresh_from_db()
    assert animal.collection == world.collection


def test_what_was_given_or_moved_is_not_sent_back_like_a_loan(world: World) -> None:
    animal, other = world.animal("L2"), shelf(world, world.stan)
    let_in(world, world.stan, other, world.odile)
    move(world, world.odile, animal, other, "given")
    with pytest.raises(Refused) as error:
        move(world, world.stan, animal, world.collection, "returned")
    assert refused(error) == "not_allowed"


def test_a_returned_animal_is_offered_again_and_not_before(world: World) -> None:
    animal = world.verified("R1")
    sale = world.sold(animal)
    back = {"to": str(world.collection.pk), "why": "returned", "sale": str(sale.pk)}
    with pytest.raises(Refused):
        world.say(world.odile, "custody_changed", animal.pk, back)
    world.say(world.odile, "handed_over", sale.pk)
    second = world.draft(animal, email="next@buyers.example")
    with pytest.raises(Refused) as error:
        world.offer(second)
    assert refused(error) == "not_now"
    world.back(sale, animal)
    assert world.offer(second).status == "accepted"


def test_a_buyer_who_became_a_keeper_sells_it_on_and_gives_it_back(world: World) -> None:
    animal, theirs = world.verified("R2"), shelf(world, world.stan)
    first = world.sold(animal, email=world.stan.email)
    world.say(world.odile, "handed_over", first.pk)
    move(world, world.odile, animal, theirs, "sold", sale=str(first.pk))
    odile, room = world.odile, world.collection
    world.odile, world.collection = world.stan, theirs
    second = world.sold(animal, email="third@buyers.example")
    world.say(world.stan, "handed_over", second.pk)
    world.odile, world.collection = odile, room
    with pytest.raises(Refused, match="so it can go to nobody else"):
        move(world, world.stan, animal, room, "returned", sale=str(first.pk))
    world.back(second, animal)
    move(world, world.stan, animal, room, "returned", sale=str(first.pk))
    animal.refresh_from_db()
    assert animal.collection == room
    assert isinstance(animal.collection_id, UUID)


def test_what_came_back_from_a_loan_is_still_in_the_sale_that_waits(world: World) -> None:
    """The buyer asked for a check; it was lent and given back; nothing was handed over."""
    animal, other = world.verified("R3"), shelf(world, world.stan)
    sale = world.draft(animal)
    world.offer(sale)
    accept_one(world.item("check_requested", sale.pk, {}), world.buyer(sale), world.now)
    let_in(world, world.stan, other, world.odile)
    move(world, world.odile, animal, other, "loaned")
    move(world, world.stan, animal, world.collection, "returned")
    with pytest.raises(Refused, match="already in another sale"):
        world.offer(world.draft(animal, email="next@buyers.example"))

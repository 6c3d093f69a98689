"""What is only next to the right one is not the right one: calls, reports and moves."""

from datetime import timedelta
from typing import Any

import pytest
from tests.intake.near_misses.conftest import move, refused, room_of, two
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import Refused
from scalewitness.people.models import Keeper
from scalewitness.people.services import name_practitioner

pytestmark = [pytest.mark.django_db, pytest.mark.parametrize("side", ["before", "after"])]


# --- calls ----------------------------------------------------------------------------------


def test_nobody_else_takes_a_call_back(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    world.make_partner(other)
    made = world.call(world.odile, animal, "male")
    assert refused(world, other, "call_withdrawn", animal.pk, {"call": made.id}) == (
        "not_found", None,
    )  # fmt: skip


def test_anybody_else_who_sees_it_objects_to_a_call(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    world.make_partner(other)
    made = world.call(world.odile, animal, "male")
    body = {"call": made.id, "ground": "other"}
    assert world.say(other, "call_objected", animal.pk, body).status == "accepted"


@pytest.mark.parametrize("kind", ["call_withdrawn", "call_objected"])
def test_no_call_on_another_animal_is_meant(world: World, side: str, kind: str) -> None:
    animal, other = two(world, side)
    made = world.call(world.odile, animal, "male")
    body = {"call": made.id} | ({"ground": "other"} if kind == "call_objected" else {})
    assert refused(world, world.odile, kind, other.pk, body) == ("not_found", None)


def test_a_held_call_is_decided_on_about_its_own_animal(world: World, side: str) -> None:
    animal, other = two(world, side)
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=1)
    world.pass_time(days=20)
    held = world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert held.status == "held"
    body = {"held": held.id, "admitted": True}
    assert refused(world, world.odile, "late_call_decided", other.pk, body) == ("not_found", None)


def test_a_call_of_one_visit_is_not_covered_by_another(world: World, side: str) -> None:
    """Greta comes twice; what she names is the visit that must cover the check."""
    animal = world.animal("A1")
    first = world.visit(world.greta, animal, days=1)
    examined = {"before": world.now + timedelta(hours=1)}
    world.pass_time(days=3)
    second = world.visit(world.greta, animal, days=1)
    examined["after"] = world.now + timedelta(hours=1)
    world.pass_time(days=2)
    own, wrong = (first, second) if side == "before" else (second, first)
    body = probing("male") | {"visit": str(wrong)}
    with pytest.raises(Refused):
        world.say(world.greta, "call_made", animal.pk, body, at=examined[side])
    body["visit"] = str(own)
    made = world.say(world.greta, "call_made", animal.pk, body, at=examined[side])
    assert made.status == "accepted"


# --- reports --------------------------------------------------------------------------------


def test_a_report_is_confirmed_on_its_own_animal(world: World, side: str) -> None:
    animal, other = two(world, side)
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    made = world.call(world.odile, animal, "female", body={"observed": seen})
    world.view(world.stan, animal, other)
    body = {"call": made.id}
    assert refused(world, world.stan, "witness_stated", other.pk, body) == ("not_found", None)
    assert world.say(world.stan, "witness_stated", animal.pk, body).status == "accepted"


def test_another_document_was_read(world: World, side: str) -> None:
    animal = world.animal("A1")
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body: dict[str, Any] = {"observed": seen, "document": "5" * 64}
    made = world.call(world.odile, animal, "female", body=body)
    world.view(world.stan, animal)
    read = {"call": made.id, "document": ("4" if side == "before" else "6") * 64}
    assert refused(world, world.stan, "document_read", animal.pk, read) == (
        "out_of_range", "/body/document",
    )  # fmt: skip


def test_somebody_elses_practice_is_not_reported_of(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    named = name_practitioner(other, new_id(world.now), "Dr Ilse Brandt")
    body = probing("male") | {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    assert refused(world, world.odile, "call_made", animal.pk, body) == (
        "out_of_range", "/body/reported/who",
    )  # fmt: skip


# --- moves ----------------------------------------------------------------------------------


def test_nobody_else_moves_an_animal(world: World, other: Keeper, side: str) -> None:
    animal, theirs = world.animal("A1"), room_of(world, other, side)
    world.make_partner(other)
    body = move(theirs, "moved")
    assert refused(world, other, "custody_changed", animal.pk, body) == ("not_found", None)


def test_an_animal_moves_to_any_other_room_of_its_keeper(world: World, side: str) -> None:
    animal, room = world.animal("A1"), room_of(world, world.odile, side)
    assert refused(
        world, world.odile, "custody_changed", animal.pk, move(world.collection, "moved")
    ) == ("not_allowed", "/body/to")
    world.say(world.odile, "custody_changed", animal.pk, move(room, "moved"))
    animal.refresh_from_db()
    assert animal.collection == room


def test_nothing_goes_back_to_a_room_of_somebody_else(
    world: World, other: Keeper, side: str
) -> None:
    animal, theirs = world.animal("A1"), room_of(world, other, side)
    body = move(theirs, "returned")
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_loan_goes_back_to_the_room_it_came_from(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    animal, wrong = world.animal("A1"), room_of(world, world.odile, side)
    borrower = others[side]
    theirs = create_collection(borrower, new_id(world.now), "Borrowed", world.now)
    let_in = {"to": str(world.odile.pk), "role": "partner"}
    world.say(borrower, "grant_given", theirs.pk, let_in)
    world.say(world.odile, "custody_changed", animal.pk, move(theirs, "loaned"))
    body = move(wrong, "returned")
    assert refused(world, borrower, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip
    world.say(borrower, "custody_changed", animal.pk, move(world.collection, "returned"))


def test_a_sold_animal_goes_to_its_buyer_and_nobody_else(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    """The buyer is the one in the middle of three."""
    seller = keeper("Seller")
    room = create_collection(seller, new_id(world.now), "The shop", world.now)
    world.collection, buyer, world.odile = room, others["host"], seller
    animal = world.verified("V1")
    sale = world.sold(animal, email=buyer.email)
    wrong = room_of(world, others[side], side)
    body = move(wrong, "sold", sale)
    assert refused(world, seller, "custody_changed", animal.pk, body) == ("not_allowed", "/body/to")
    theirs = room_of(world, buyer, side)
    world.say(seller, "custody_changed", animal.pk, move(theirs, "sold", sale))


def test_a_sold_animal_goes_from_the_room_it_was_sold_from(
    world: World, other: Keeper, side: str
) -> None:
    animal, back_room = world.verified("V1"), room_of(world, world.odile, side)
    sale = world.sold(animal, email=other.email)
    theirs = create_collection(other, new_id(world.now), "Theirs", world.now)
    world.say(world.odile, "handed_over", sale.pk)
    world.say(world.odile, "custody_changed", animal.pk, move(back_room, "moved"))
    body = move(theirs, "sold", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_sold_animal_goes_back_to_the_room_it_was_sold_from(world: World, side: str) -> None:
    animal, wrong = world.verified("V1"), room_of(world, world.odile, side)
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    body = move(wrong, "returned", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_sale_of_another_animal_moves_nothing(world: World, other: Keeper, side: str) -> None:
    animal, sold = two(world, side)
    sale = world.sold(sold, email=other.email)
    theirs = room_of(world, other, side)
    body = move(theirs, "sold", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip

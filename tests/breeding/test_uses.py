"""Whom the use of an animal tells its sex, and when: by what is stored, and in their calls."""

from datetime import UTC, datetime, timedelta
from typing import Any, Literal
from uuid import UUID, uuid4

import pytest
from tests.api.client import Api
from tests.api.conftest import present
from tests.world import World, new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.breeding.queries.clutches import broods_in
from scalewitness.domain.uses import EVER, NEVER, Span, Use, is_informed

PERSON, SOMEBODY = uuid4(), uuid4()


def at(hour: int, place: int = 0) -> tuple[datetime, int]:
    return datetime(2026, 11, 1, hour, tzinfo=UTC), place


def use(of: Literal["parent", "pairing", "linkage"] = "parent", **more: Any) -> Use:
    return Use(
        uuid4(), uuid4(), more.pop("by", SOMEBODY), Span(at(5), more.pop("until", NEVER)), of
    )


@pytest.mark.parametrize(
    ("one", "holds", "blind", "told"),
    [
        (use(), [], [], False),
        (use(by=PERSON), [], [], True),
        (use(), [Span(at(1), at(5))], [], False),
        (use(), [Span(at(1), at(5, 1))], [], True),
        (use(), [Span(at(9), NEVER)], [], True),
        (use("pairing", until=at(8)), [Span(at(9), NEVER)], [], False),
        (use(), [Span()], [Span(at(4), at(6))], True),
        (use(), [Span(at(1), at(7))], [Span(at(4), at(6)), Span(at(6), at(8))], False),
        (use(), [Span(at(1), at(7))], [Span(at(4), at(6)), Span(at(6, 1), at(8))], True),
        (use("linkage"), [Span(at(1), at(7))], [Span(at(4), at(8))], True),
        (use(), [Span(EVER, at(3)), Span(at(6), at(7))], [Span(at(5, 9), at(9))], False),
    ],
)
def test_a_use_tells_whoever_reads_of_it_while_they_are_not_to_check_blind(
    one: Use, holds: list[Span], blind: list[Span], told: bool
) -> None:
    assert is_informed(PERSON, one, holds, blind) is told


# --- as the record has it ---------------------------------------------------------------


@pytest.fixture
def shelf(world: World) -> Collection:
    """Greta's own collection."""
    return create_collection(world.greta, new_id(world.now), "Shelf", world.now)


def young_of(world: World, dam: Animal, **more: Any) -> Animal:
    return world.animal(f"young {len(more)}", hatched="2026-08-01", dam=str(dam.pk), **more)


def hand_over(world: World, animal: Animal, shelf: Collection) -> None:
    """Sold to her."""
    sale = world.sold(animal, email=world.greta.email)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    assert world.say(world.odile, "custody_changed", animal.pk, moved).status == "accepted"


def lend(world: World, shelf: Collection, *animals: Animal) -> None:
    """Odile is Greta's partner in the shelf, so she may."""
    world.say(world.greta, "grant_given", shelf.pk, {"to": str(world.odile.pk), "role": "partner"})
    for one in animals:
        moved = {"to": str(shelf.pk), "why": "loaned"}
        assert world.say(world.odile, "custody_changed", one.pk, moved).status == "accepted"


def give_back(world: World, animal: Animal) -> None:
    moved = {"to": str(world.collection.pk), "why": "returned"}
    assert world.say(world.greta, "custody_changed", animal.pk, moved).status == "accepted"


def is_blind(world: World, animal: Animal, visit: UUID) -> bool:
    made = world.call(world.greta, animal, "female", visit=visit)
    assert made.status == "accepted", made.problem
    return animal.calls.get(pk=made.id).blind


def test_whoever_was_told_the_dam_of_their_own_animal_before_is_not_blind_to_her(
    world: World, shelf: Collection
) -> None:
    dam, other = world.animal("D-1"), world.animal("O-1")
    hand_over(world, young_of(world, dam), shelf)
    world.pass_time(days=1)
    visit = world.visit(world.greta, dam, other)
    assert not is_blind(world, dam, visit)
    assert is_blind(world, other, visit)


def test_also_where_the_young_one_has_left_again_or_the_parent_was_corrected(
    world: World, shelf: Collection
) -> None:
    dam, second = world.animal("D-1"), world.animal("D-2")
    left, corrected = young_of(world, dam), young_of(world, second, sire=None)
    lend(world, shelf, left, corrected)
    give_back(world, left)
    plain = {"species": "python_regius", "hatched": "2026-08-01"}
    assert world.say(world.greta, "particulars_corrected", corrected.pk, plain).status == "accepted"
    world.pass_time(days=1)
    visit = world.visit(world.greta, dam, second)
    assert not is_blind(world, dam, visit)
    assert not is_blind(world, second, visit)


def test_what_is_named_while_the_visit_is_on_spoils_nothing(
    world: World, shelf: Collection
) -> None:
    """Else a host could have a contrary check count for less, without telling anybody anything."""
    dam = world.animal("D-1")
    visit = world.visit(world.greta, dam)
    hand_over(world, young_of(world, dam), shelf)
    assert is_blind(world, dam, visit)


def test_once_no_check_is_awaited_the_dam_is_informed(world: World, shelf: Collection) -> None:
    dam = world.animal("D-1")
    world.visit(world.greta, dam, days=1)
    hand_over(world, young_of(world, dam), shelf)
    world.pass_time(days=16)
    assert not is_blind(world, dam, world.visit(world.greta, dam))


def test_a_young_one_that_was_gone_before_it_had_a_dam_tells_nothing(
    world: World, shelf: Collection
) -> None:
    dam, young = world.animal("D-1"), world.animal("Y-1", hatched="2026-08-01")
    lend(world, shelf, young)
    give_back(world, young)
    named = {"species": "python_regius", "hatched": "2026-08-01", "dam": str(dam.pk)}
    world.say(world.odile, "particulars_corrected", young.pk, named)
    assert is_blind(world, dam, world.visit(world.greta, dam))


def test_a_partner_of_then_was_told_too(world: World) -> None:
    """Of a room of Odile's in which the mother is not."""
    dam = world.animal("D-1")
    nursery = create_collection(world.odile, new_id(world.now), "Nursery", world.now)
    world.animal("Y-1", room=nursery, hatched="2026-08-01", dam=str(dam.pk))
    given = {"to": str(world.greta.pk), "role": "partner"}
    grant = world.say(world.odile, "grant_given", nursery.pk, given).id
    world.pass_time(days=1)
    world.say(world.odile, "grant_revoked", nursery.pk, {"grant": grant})
    world.pass_time(days=1)
    assert not is_blind(world, dam, world.visit(world.greta, dam))


def test_whoever_kept_the_mate_while_the_pairing_stood_was_told(
    world: World, shelf: Collection
) -> None:
    """Also where the mate has left them since."""
    own, mate = world.animal("P-1"), world.animal("P-2")
    lend(world, shelf, mate)
    pair = {"sire": str(own.pk), "dam": str(mate.pk), "season": 2027}
    planned = world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    assert planned.status == "accepted", planned.problem
    world.pass_time(days=1)
    give_back(world, mate)
    assert not is_blind(world, own, world.visit(world.greta, own))


# --- and what is shown meanwhile --------------------------------------------------------


def test_no_clutch_names_a_parent_to_whoever_is_to_check_it_blind(
    world: World, shelf: Collection
) -> None:
    dam, sire = world.animal("D-1"), world.animal("S-1")
    hand_over(world, young_of(world, dam, sire=str(sire.pk)), shelf)
    present(world)
    path = f"/collections/{shelf.pk}/clutches"
    (shown,) = Api(world.greta).get(path).body["items"]
    assert (shown["sire"], shown["dam"]) == (str(sire.pk), str(dam.pk))
    visit = world.visit(world.greta, dam)
    assert Api(world.greta).get(path).body["items"] == []
    assert broods_in(shelf, world.greta.pk, world.now + timedelta(days=9)) == [], (
        "her call may come still"
    )
    assert broods_in(shelf, world.greta.pk, world.now + timedelta(days=18)) != []
    world.call(world.greta, dam, "female", visit=visit)
    assert Api(world.greta).get(path).body["items"] == [shown]

"""A confirmation is of what the buyer was shown: of nothing else, and of no other animal."""

from collections.abc import Callable
from typing import Any

import msgspec
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.intake.test_sales import refused
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import edit
from scalewitness.domain.errors import Refused
from scalewitness.domain.facts import WhatWasShown
from scalewitness.domain.offer_shown import DRIFT
from scalewitness.intake.services import accept_one
from scalewitness.intake.shown import moved_since, shown_now
from scalewitness.intake.statements import lapse_offers
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import progress_of

pytestmark = pytest.mark.django_db

Change = Callable[[World, Animal], object]
CHIP = {"scheme": "transponder", "code": "276 098 100 000 001"}
SAID = {"species": "python_regius", "hatched": "2024-06-01", "traits": ["pied"]}


def rename(world: World, animal: Animal, **fields: Any) -> None:
    current = Animal.objects.get(pk=animal.pk)
    edit(current, fields, version=current.version, by=world.odile, now=world.now)


def particulars(**other: Any) -> Change:
    return lambda world, animal: world.say(
        world.odile, "particulars_corrected", animal.pk, SAID | other
    )


CHANGES: dict[str, tuple[Change, str, str]] = {
    "codes": (
        lambda world, animal: world.say(world.odile, "identifier_assigned", animal.pk, CHIP),
        "tag V1",
        "tag V1, transponder 276098100000001",
    ),
    "name": (lambda world, animal: rename(world, animal, name="Fern"), "Moss", "Fern"),
    "hatched": (particulars(hatched="2023-06-01"), "2024-06-01", "2023-06-01"),
    "traits": (particulars(traits=["pied", "hypo"]), "pied", "pied, hypo"),
    "species": (particulars(species="morelia_spilota"), "python_regius", "morelia_spilota"),
}


@told_once
def offered(world: World) -> Sale:
    animal = world.verified("V1")
    world.say(world.odile, "particulars_corrected", animal.pk, SAID)
    rename(world, animal, name="Moss")
    sale = world.draft(animal)
    world.offer(sale)
    return sale


def confirm(world: World, sale: Sale, body: dict[str, Any]) -> object:
    return accept_one(world.item("sale_confirmed", sale.pk, body), world.buyer(sale), world.now)


@pytest.mark.parametrize("what", CHANGES)
def test_what_is_another_animal_now_is_not_confirmed(
    world: World, offered: Sale, what: str
) -> None:
    """Given a second chip, renamed, described anew between view and confirmation."""
    change, was, now = CHANGES[what]
    animal, seen = offered.animals.get(), world.look(offered)
    change(world, animal)
    with pytest.raises(Refused) as error:
        confirm(world, offered, seen)
    problem = error.value.as_problem()
    assert problem["code"] == "standing_moved"
    assert {"animal": str(animal.pk), "what": what, "was": was, "now": now} in problem["changed"]
    assert progress_of(offered).state == "offered"


@pytest.mark.parametrize("what", ["codes", "name", "hatched", "traits"])
def test_after_another_look_it_is(world: World, offered: Sale, what: str) -> None:
    change, *_ = CHANGES[what]
    change(world, offered.animals.get())
    confirm(world, offered, world.look(offered))
    entry = Entry.objects.get(kind="sale_confirmed")
    assert set(leaf_of(entry).body["shown"]) == {"digest", "animals"}
    assert b"Moss" not in bytes(entry.leaf)
    assert b"Fern" not in bytes(entry.leaf)


def test_what_the_buyer_is_not_shown_of_a_record_moves_nothing(world: World, offered: Sale) -> None:
    """Its rack, its keeper's own notes of it; and photos, which are shown as they come."""
    animal, seen = offered.animals.get(), world.look(offered)
    rename(world, animal, rack="C4", description="Bites after a meal.")
    world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file()))
    confirm(world, offered, seen)
    assert progress_of(offered).state == "confirmed"


def test_a_name_changed_and_changed_back_is_the_name_that_was_shown(
    world: World, offered: Sale
) -> None:
    animal, seen = offered.animals.get(), world.look(offered)
    for name in ("Fern", "Moss"):
        rename(world, animal, name=name)
    confirm(world, offered, seen)
    assert progress_of(offered).state == "confirmed"


@pytest.mark.parametrize("field", ["p_male", "p_male_pessimistic"])
def test_a_probability_may_drift_a_little_and_no_further(
    world: World, offered: Sale, field: str
) -> None:
    seen = world.look(offered)
    (animal,) = seen["shown"]["animals"]
    now = float(animal[field])
    at_most = f"{now - float(DRIFT):.6f}"
    further = f"{now - float(DRIFT) - 0.000001:.6f}"
    with pytest.raises(Refused) as error:
        confirm(world, offered, with_animal(seen, **{field: further}))
    assert [one["what"] for one in error.value.as_problem()["changed"]] == ["probability"]
    confirm(world, offered, with_animal(seen, **{field: at_most}))


def test_a_new_offer_is_another_with_its_terms_side_by_side(world: World) -> None:
    """A buyer with an account has no link that could end."""
    sale = world.draft(world.verified("V1"), email=world.stan.email)
    world.offer(sale)
    seen = world.look(sale)
    renewed = world.offer(sale, remedy="none", days_to_pay=3)
    with pytest.raises(Refused) as error:
        say(world, world.stan, sale, seen)
    problem = error.value.as_problem()
    assert problem["new_offer"] == renewed.id
    terms = {one["what"]: (one["was"], one["now"]) for one in problem["changed"]}
    assert terms == {"remedy": ("refund", "none"), "days_to_pay": ("14", "3")}


def say(world: World, who: Keeper, sale: Sale, body: dict[str, Any]) -> None:
    world.say(who, "sale_confirmed", sale.pk, body)


def with_animal(seen: dict[str, Any], **other: Any) -> dict[str, Any]:
    (animal,) = seen["shown"]["animals"]
    return seen | {"shown": seen["shown"] | {"animals": [animal | other]}}


def test_a_page_made_while_something_changed_is_not_confirmed(world: World, offered: Sale) -> None:
    """There and back again: at the position seen all was as it is now, on the page it was not."""
    animal, before = offered.animals.get(), world.look(offered)
    CHANGES["traits"][0](world, animal)
    shown = world.look(offered)["shown"] | {"animals": before["shown"]["animals"]}
    particulars()(world, animal)
    with pytest.raises(Refused, match="what you were shown is not what it says now") as error:
        confirm(world, offered, before | {"shown": shown})
    assert refused(error) == "standing_moved"


def test_what_was_shown_names_the_animals_of_the_sale(world: World, offered: Sale) -> None:
    seen = with_animal(world.look(offered), animal=str(new_id()))
    with pytest.raises(Refused) as error:
        confirm(world, offered, seen)
    assert refused(error) == "out_of_range"


def test_who_does_not_say_what_was_shown_confirms_nothing(world: World) -> None:
    """By push, a buyer with an account: a name that was changed since would slip through."""
    animal = world.verified("V1")
    sale = world.draft(animal, email=world.stan.email)
    world.offer(sale)
    seen = world.look(sale)
    del seen["shown"]
    rename(world, animal, name="Fern")
    with pytest.raises(Refused, match="as the offer gave it") as error:
        say(world, world.stan, sale, seen)
    problem = error.value.as_problem()
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("wrong_shape", "/body/shown")
    assert progress_of(sale).state == "offered"


def test_a_sale_confirmed_before_there_was_a_digest_has_no_day_to_pay(
    world: World, offered: Sale
) -> None:
    """Neither side was shown one."""
    offer = offered.steps.get()
    body = {"offer": str(offer.pk), "seen": offer.position}
    SaleStep.objects.create(
        id=new_id(world.now),
        position=offer.position + 1000,
        sale=offered,
        kind="sale_confirmed",
        at=world.now,
        body=body,
    )
    assert progress_of(offered).state == "confirmed"
    world.pass_time(days=60)
    assert lapse_offers(world.now) == 0


def test_of_many_animals_what_was_shown_is_read_at_once(world: World) -> None:
    """The log is locked meanwhile."""
    asked = []
    for count in (1, 4):
        animals = [world.animal(f"M{count}{number}") for number in range(count)]
        sale = world.draft(*animals)
        world.offer(sale)
        seen, offer = world.look(sale), sale.steps.get()
        shown = msgspec.convert(seen["shown"], WhatWasShown)
        with CaptureQueriesContext(connection) as queries:
            assert moved_since(shown, seen["seen"], offer, shown_now(sale, offer)) == []
        asked.append(len(queries))
    assert asked[0] == asked[1]


def test_a_confirmation_of_many_animals_asks_of_none_by_itself(world: World) -> None:
    asked = []
    for count in (1, 4):
        animals = [world.animal(f"M{count}{number}") for number in range(count)]
        sale = world.draft(*animals)
        world.offer(sale)
        item = world.item("sale_confirmed", sale.pk, world.look(sale))
        with CaptureQueriesContext(connection) as queries:
            accept_one(item, world.buyer(sale), world.now)
        asked.append(len(queries))
    assert asked[1] - asked[0] <= 3, "of each, whether it left after the offer, for the letter"

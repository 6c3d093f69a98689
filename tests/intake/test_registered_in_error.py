"""An animal registered in error: who may state it, what stands in the way, and what is left."""

from collections.abc import Callable
from typing import Any, Final
from uuid import UUID

import pytest
from django.core.management import call_command
from django.db import transaction
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal, Identifier
from scalewitness.calls.queries.visibility import Point, sights_at, visible_animals
from scalewitness.domain.errors import NotFound, Refused
from scalewitness.domain.facts import BODIES
from scalewitness.intake.rules.slips import MAY_STAND
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper
from scalewitness.receipts.queries import ANIMAL_KINDS, entry_seen
from scalewitness.searching.animals import animals_wanted
from scalewitness.searching.wanted import Wanted
from scalewitness.standings.queries.logged import labels_counted
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

STANDS: Final = {
    "animal_registered": True,
    "particulars_corrected": True,
    "identifier_assigned": True,
    "identifier_withdrawn": True,
    "animal_ended": False,
    "end_corrected": False,
    "registered_in_error": False,
    "linkage_stated": False,
    "trait_stated": False,
    "trait_withdrawn": False,
    "claim_fell": False,
    "claim_restored": False,
    "joining_proposed": False,
    "parting_proposed": False,
    "joining_answered": False,
    "husbandry_noted": False,
    "photo_attached": False,
    "custody_changed": False,
    "call_made": False,
    "call_withdrawn": False,
    "call_refiled": False,
    "photos_compared": False,
    "call_objected": False,
    "call_held": False,
    "late_call_decided": False,
    "report_answered": False,
    "document_read": False,
    "witness_stated": False,
    "witness_withdrawn": False,
    "report_reopened": False,
    "one_person_found": False,
    "record_quoted": False,
    "standing_changed": True,
}
"""By kind of fact about an animal: whether it may have been stated before."""


def test_the_table_says_of_each_kind_whether_it_stands_in_the_way() -> None:
    assert set(STANDS) == ANIMAL_KINDS
    assert set(STANDS) <= set(BODIES)
    assert {kind for kind, may in STANDS.items() if may} == MAY_STAND


def slip(world: World, animal: Animal, who: Keeper | None = None, **more: Any) -> None:
    world.say(who or world.odile, "registered_in_error", animal.pk, {}, **more)


def refused(world: World, animal: Animal, who: Keeper | None = None) -> str:
    with pytest.raises(Refused) as error, transaction.atomic():
        slip(world, animal, who)
    return error.value.detail


def seen(world: World, who: Keeper) -> set[UUID]:
    return set(visible_animals(who.pk, world.now).values_list("pk", flat=True))


def pair(world: World, animal: Animal) -> None:
    body = {"sire": str(animal.pk), "dam": str(world.animal("P-2").pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), body)


IN_THE_WAY: Final[dict[str, Callable[[World, Animal], object]]] = {
    "Weighed: 90 g": lambda world, animal: world.say(
        world.odile, "husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": "90"}}
    ),
    "More was stated of it": lambda world, animal: world.call(world.odile, animal, "male"),
    "sheet of a visit": lambda world, animal: world.invite(world.greta, animal),
    "given access": lambda world, animal: world.view(world.stan, animal),
    "in a sale": lambda world, animal: world.draft(animal),
    "pairing": pair,
    "as a parent": lambda world, animal: world.animal("Y-1", sire=str(animal.pk)),
    "died": lambda world, animal: world.say(
        world.odile, "animal_ended", animal.pk, {"why": "died"}
    ),
}


@pytest.mark.parametrize("words", IN_THE_WAY)
def test_whatever_somebody_may_rely_on_stands_in_the_way(world: World, words: str) -> None:
    animal = world.animal("E-1")
    IN_THE_WAY[words](world, animal)
    said = refused(world, animal)
    assert words in said
    assert "It stays on record." in said
    assert Animal.objects.filter(pk=animal.pk).exists()


def test_its_keeper_and_partners_state_it_and_nobody_else(world: World) -> None:
    animal, other = world.animal("E-1"), world.animal("E-2")
    world.say(
        world.odile,
        "grant_given",
        world.collection.pk,
        {"to": str(world.stan.pk), "role": "viewer"},
    )
    for who in (world.stan, world.greta):
        assert refused(world, animal, who) == NotFound().detail
    slip(world, animal)
    world.make_partner(world.pim)
    slip(world, other, world.pim)
    assert not Animal.objects.exists()


def test_it_leaves_lists_searches_and_counts_and_stays_in_the_log(world: World) -> None:
    kept, animal = world.animal("K-1"), world.animal("E-1", traits=["pied"])
    world.say(world.odile, "particulars_corrected", animal.pk, {"species": "boa_imperator"})
    size = Entry.objects.count()
    slip(world, animal, texts={"note": "registered twice"})
    assert seen(world, world.odile) == {kept.pk}
    assert set(animals_wanted(world.odile.pk, Wanted(text="E-1"), world.now)) == set()
    assert sum(labels_counted([world.collection.pk])[world.collection.pk].values()) == 1
    assert list(world.collection.animals.all()) == [kept]
    facts = list(Entry.objects.filter(about=animal.pk).order_by("position"))
    assert [one.kind for one in facts][-1] == "registered_in_error"
    for one in facts:
        assert entry_seen(world.odile.pk, one.fact, world.now)
    then, now = (Point(at, world.now) for at in (size, size + 1))
    assert sights_at(world.odile.pk, [animal.pk], then) == {animal.pk: "all"}
    assert sights_at(world.odile.pk, [animal.pk], now) == {}


def test_its_codes_are_free_again(world: World) -> None:
    animal, number = world.animal("E-1"), "985000000000123"
    chip = {"scheme": "transponder", "code": number}
    world.say(world.odile, "identifier_assigned", animal.pk, chip)
    slip(world, animal)
    assert not Identifier.objects.exists()
    again = world.animal("E-1")
    outcome = world.say(world.odile, "identifier_assigned", again.pk, chip)
    assert "number_known" not in outcome.flags
    assert {one.code for one in again.identifiers.all()} == {"E-1", number}


def test_nothing_more_is_stated_of_it_and_who_keeps_it_is_told_why(world: World) -> None:
    animal = world.animal("E-1")
    slip(world, animal)
    assert "registered in error" in refused(world, animal)
    noted = {"noted": {"type": "weight", "grams": "90"}}
    facts = [
        ("call_made", probing("male", "E-1")),
        ("husbandry_noted", noted),
        ("identifier_assigned", {"scheme": "tag", "code": "E-9"}),
        ("animal_ended", {"why": "died"}),
        ("particulars_corrected", {"species": "python_regius"}),
    ]
    for kind, body in facts:
        (outcome,) = world.push(world.odile, world.item(kind, animal.pk, body))
        assert outcome.problem is not None
        assert "registered in error" in outcome.problem["detail"], kind
        (hidden,) = world.push(world.greta, world.item(kind, animal.pk, body))
        assert hidden.problem is not None
        assert "error" not in hidden.problem["detail"], "to others there never was one"
    registered = {"collection": str(world.collection.pk), "species": "python_regius"}
    (anew,) = world.push(world.odile, world.item("animal_registered", animal.pk, registered))
    assert anew.problem is not None
    assert anew.problem["code"] == "id_reused"


def test_in_one_batch_the_order_counts(world: World) -> None:
    """As a phone sends what was noted out of reach."""
    animal = new_id(world.now)
    registered = {"collection": str(world.collection.pk), "species": "python_regius"}
    made = world.item("animal_registered", animal, registered)
    weighed = world.item("husbandry_noted", animal, {"noted": {"type": "weight", "grams": "9"}})
    error = world.item("registered_in_error", animal, {})
    statuses = [one.status for one in world.push(world.odile, made, weighed, error)]
    assert statuses == ["accepted", "accepted", "refused"]
    other = new_id(world.now)
    made, weighed, error = ({**one, "id": str(new_id(world.now)), "about": str(other)}
                            for one in (made, weighed, error))  # fmt: skip
    statuses = [one.status for one in world.push(world.odile, made, error, weighed)]
    assert statuses == ["accepted", "accepted", "refused"]


def test_replay_and_the_check_of_the_tables_know_it(world: World) -> None:
    world.call(world.odile, world.animal("K-1"), "male")
    slip(world, world.animal("E-1"))
    assert not list(Replay().differences())
    call_command("fsck")

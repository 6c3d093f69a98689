"""Animals are found by what is asked, in an order, a page at a time; one that is to be checked
blind is found as its bare twin would be."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.plugins.told_once import told_once
from tests.world import World

from scalewitness.animals import services
from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper
from scalewitness.searching.animals import animals_wanted
from scalewitness.searching.order import BadPlace, page_of
from scalewitness.searching.wanted import BEYOND_THE_SHEET, CHOICES, Wanted

pytestmark = pytest.mark.django_db


def found(world: World, who: Keeper, **asked: Any) -> set[Animal]:
    return set(animals_wanted(who.pk, Wanted(**asked), world.now))


def edit(world: World, animal: Animal, **fields: Any) -> None:
    animal.refresh_from_db()
    services.edit(animal, fields, version=animal.version, by=world.odile, now=world.now)


@told_once
def few(world: World) -> dict[str, Animal]:
    """A verified male for sale, a female hatchling of his, and one that nobody checked."""
    male = world.verified("M1")
    edit(world, male, name="Onyx", rack="Room 2")
    world.draft(male)
    hatched = (world.now - timedelta(days=30)).date().isoformat()
    young = world.animal("Y1", hatched=hatched, sire=str(male.pk), traits=["amelanistic"])
    world.call(world.odile, young, "female")
    return {"male": male, "young": young, "new": world.animal("N1")}


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        ({"text": "onyx"}, "male young"),  # itself, and by its parent's name
        ({"text": "amelan"}, "young"),
        ({"text": "n1"}, "new"),
        ({"text": "ball pyth"}, "male young new"),
        ({"text": "nothing is called so"}, ""),
        ({"standing": "verified"}, "male"),
        ({"standing": "unsexed"}, "new"),
        ({"sex": "male"}, "male"),
        ({"age": "under_1"}, "young"),
        ({"place": "room"}, "male"),
        ({"trait": "AMEL"}, "young"),
        ({"checked": "never"}, "new"),
        ({"checked": "within_a_year"}, "male young"),
        ({"checked": "over_a_year"}, "new"),
        ({"planned": "for_sale"}, "male"),
        ({"planned": "pairing"}, ""),
        ({"whose": "mine"}, "male young new"),
        ({"whose": "shown"}, ""),
        ({"standing": "verified", "sex": "female"}, ""),
    ],
    ids=str,
)
def test_each_filter_finds_what_it_says(
    world: World, few: dict[str, Animal], asked: dict[str, Any], names: str
) -> None:
    assert found(world, world.odile, **asked) == {few[one] for one in names.split()}


def test_the_young_of_an_animal_are_found_by_it(world: World, few: dict[str, Animal]) -> None:
    assert found(world, world.odile, parent=few["male"].pk) == {few["young"]}
    assert found(world, world.odile, parent=UUID(int=9)) == set()


def test_a_stranger_finds_nothing(world: World, few: dict[str, Animal]) -> None:
    assert found(world, world.stan) == set()
    assert found(world, world.stan, text="Onyx") == set()


ASKED = [
    *({name: one} for name in CHOICES if name != "order" for one in CHOICES[name]),
    *({name: "onyx"} for name in ("text", "place", "trait", "species")),
    {"text": "python"}, {"text": "M1"}, {"species": "python_regius"},
]  # fmt: skip


def test_whoever_is_to_check_it_blind_finds_it_as_its_bare_twin(world: World) -> None:
    """The same code, species and day, and nothing else alike."""
    rich = world.verified("M1")
    edit(world, rich, name="Onyx", rack="Onyx room")
    world.draft(rich)
    bare = world.animal("M2")
    world.visit(world.greta, rich, bare)
    assert found(world, world.greta) == {rich, bare}
    for asked in ASKED:
        got = found(world, world.greta, **asked)
        assert got in (set(), {rich, bare}) or asked == {"text": "M1"}, asked
    for name in BEYOND_THE_SHEET:
        value = {"parent": rich.pk, "collection": rich.collection_id}.get(name, "onyx")
        wanted = {name: CHOICES[name][0] if name in CHOICES else value}
        assert found(world, world.greta, **wanted) == set(), name


@pytest.mark.parametrize("order", CHOICES["order"])
@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.some(3)
def test_no_order_puts_a_blind_animal_elsewhere_than_its_twin(
    world: World, order: Any, backwards: bool
) -> None:
    """Between two that the reader sees whole, by their codes; the later id is the bare one."""
    rich = world.verified("M1")
    edit(world, rich, name="Zz", rack="Zz")
    bare = world.animal("M1b")
    world.visit(world.greta, rich, bare)
    wanted = Wanted(order=order, backwards=backwards)
    listed = page_of(animals_wanted(world.greta.pk, wanted, world.now), wanted, 10).animals
    assert listed == ([bare, rich] if backwards else [rich, bare])


@pytest.mark.parametrize("order", CHOICES["order"])
@pytest.mark.parametrize("backwards", [False, True])
def test_pages_hold_every_animal_once(
    world: World, few: dict[str, Animal], order: Any, backwards: bool
) -> None:
    wanted = Wanted(order=order, backwards=backwards)
    everything = animals_wanted(world.odile.pk, wanted, world.now)
    seen, after = [], None
    while True:
        page = page_of(everything, wanted, 1, after)
        seen += page.animals
        if page.after is None:
            break
        after = page.after
    assert sorted(one.pk for one in seen) == sorted(one.pk for one in few.values())
    assert seen == page_of(everything, wanted, 10).animals


def test_one_that_is_added_meanwhile_moves_no_page(world: World) -> None:
    for tag in ("B", "D", "F"):
        world.animal(tag)
    wanted = Wanted()
    first = page_of(animals_wanted(world.odile.pk, wanted, world.now), wanted, 2)
    world.animal("A")
    second = page_of(animals_wanted(world.odile.pk, wanted, world.now), wanted, 2, first.after)
    assert [one.identifiers.get().code for one in [*first.animals, *second.animals]] == list("BDF")


@pytest.mark.parametrize(
    "given",
    [
        "",
        "!",
        "é",
        "bnVsbA",
        "WzEsMl0",
        "W3RydWUsICJ4Il0",
        "eyJhIjogMX0",
        "WyIyMDI2LTAxLTAxIiwgIiJd",
    ],
)
@pytest.mark.parametrize("order", CHOICES["order"])
@pytest.mark.some(15)
def test_a_place_that_no_page_gave_is_refused(world: World, order: Any, given: str) -> None:
    wanted = Wanted(order=order)
    with pytest.raises(BadPlace):
        page_of(animals_wanted(world.odile.pk, wanted, world.now), wanted, 2, given)

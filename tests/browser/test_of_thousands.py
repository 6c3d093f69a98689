"""One of five thousand is found, and ten of five hundred are chosen, in few actions."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import Any
from uuid import UUID

import pytest
from playwright.sync_api import Locator, Page, ViewportSize, expect
from tests.browser.conftest import Open, Site, session_of
from tests.world import World, new_id

from scalewitness.animals.models import Collection
from scalewitness.animals.services import create_collection
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept

DESK: ViewportSize = {"width": 1440, "height": 900}
MANY, SOME = 5_000, 500
BATCH = 500
MOST_ACTIONS = 3

pytestmark = pytest.mark.long(
    "five thousand animals take half a minute; with fewer tests/browser/test_visit.py::"
    "test_ten_of_many_are_chosen_and_invited_on_one_screen and tests/browser/test_live.py::"
    "test_a_dam_is_found_as_one_types_and_a_few_are_offered"
)


@dataclass(frozen=True)
class Told:
    session: str
    hall: UUID
    room: UUID


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    hall = create_collection(world.odile, new_id(world.now), "The hall", world.now)
    room = create_collection(world.odile, new_id(world.now), "The room", world.now)
    one, other = (sized(world, place, size) for place, size in ((hall, MANY), (room, SOME)))
    assert (one, other) == (MANY, SOME)
    told = world.animal("X-1", room=hall, hatched="2019-01-01")
    world.call(world.odile, told, "male")
    world.invite(world.greta, world.animal("V-1"))
    return Told(session_of(world.odile), hall.pk, room.pk)


def sized(world: World, place: Collection, size: int) -> int:
    """So many ball pythons in it, each tagged; one is of another species, one shows a trait."""
    items = facts(world, place, size)
    while batch := list(islice(items, BATCH)):
        outcomes = accept(batch, Actor(keeper=world.odile.pk), world.now)
        assert not [one.problem for one in outcomes if one.problem]
    return place.animals.count()


def facts(world: World, place: Collection, size: int) -> Iterator[dict[str, Any]]:
    letter = place.name[4].upper()
    for number in range(size):
        about = new_id(world.now)
        body: dict[str, Any] = {"collection": str(place.pk), "species": "python_regius"}
        body["hatched"] = f"{2016 + number % 8}-06-{1 + number % 28:02}"
        if number == size // 2:
            body["species"] = "acrantophis_dumerili"
        if number == size // 3:
            body["traits"] = ["piebald"]
        yield world.item("animal_registered", about, body)
        code = {"scheme": "tag", "code": f"{letter}-{number:04}"}
        yield world.item("identifier_assigned", about, code)


@dataclass
class Hand:
    """Counts what a person does: something typed into a field, a choice, a click. ``did``: what."""

    page: Page
    did: list[str] = field(default_factory=list)

    def type(self, into: Locator, text: str) -> None:
        self.did.append(f"typed {text}")
        into.click()
        self.page.keyboard.type(text)

    def choose(self, of: Locator, choice: str) -> None:
        self.did.append(f"chose {choice}")
        of.select_option(choice)

    def click(self, what: Locator) -> None:
        self.did.append("clicked")
        what.click()


def rows(page: Page) -> Locator:
    return page.locator("#found tbody tr")


@pytest.mark.parametrize(
    ("typed", "title"),
    [("H-3471", "H-3471"), ("piebald", f"H-{MANY // 3:04}"), ("dumeril", f"H-{MANY // 2:04}")],
)
def test_one_of_five_thousand_is_found_from_the_first_page_in_three_actions(
    opened: Open, story: Told, typed: str, title: str
) -> None:
    """By its tag, by a trait, by its species."""
    page = opened("/", session=story.session, viewport=DESK)
    hand = Hand(page)
    hand.click(page.get_by_role("link", name="Animals", exact=True).first)
    hand.type(page.get_by_label("Find", exact=True), typed)
    hall = rows(page).filter(has_text="H-")
    expect(hall).to_have_count(1)
    hand.click(hall.get_by_role("link", name=title).first)
    expect(page.get_by_role("heading", level=1)).to_contain_text(title)
    assert len(hand.did) <= MOST_ACTIONS, hand.did


@pytest.mark.parametrize(
    ("filter", "choice"), [("last check", "within_a_year"), ("standing", "probable")]
)
def test_one_of_five_thousand_is_found_by_a_filter_in_three_actions(
    opened: Open, story: Told, filter: str, choice: str
) -> None:
    page = opened("/", session=story.session, viewport=DESK)
    hand = Hand(page)
    hand.click(page.get_by_role("link", name="Animals", exact=True).first)
    hand.choose(page.get_by_label(filter, exact=True), choice)
    expect(rows(page)).to_have_count(1)
    hand.click(rows(page).get_by_role("link", name="X-1").first)
    expect(page.get_by_role("heading", level=1)).to_contain_text("X-1")
    assert len(hand.did) <= MOST_ACTIONS, hand.did


def test_a_parent_is_picked_out_of_five_thousand_in_three_actions(
    opened: Open, story: Told
) -> None:
    page = opened(f"/collections/{story.hall}/animals/new", session=story.session, viewport=DESK)
    hand, dam = Hand(page), page.locator("#pick-dam")
    hand.type(dam.get_by_label("Find by name, tag or transponder"), "H-4711")
    hand.click(dam.get_by_label("H-4711"))
    expect(dam.get_by_label("H-4711")).to_be_checked()
    assert len(hand.did) <= MOST_ACTIONS, hand.did
    assert page.locator("#pick-dam, #pick-sire").get_by_role("radio").count() <= 30


def test_ten_of_five_hundred_are_chosen_for_a_visit_on_one_screen(
    opened: Open, story: Told
) -> None:
    """Scattered ones, each looked for by its tag: nothing scrolls, and two actions are for each."""
    page = opened(f"/collections/{story.room}/visits/new", session=story.session, viewport=DESK)
    hand, save = Hand(page), page.get_by_role("button", name="Invite", exact=True)
    for number in range(10):
        tag = f"R-{37 + 41 * number:04}"
        find = page.get_by_label("Find by name, tag or transponder")
        find.fill("")
        hand.type(find, tag)
        hand.click(page.get_by_label(tag))
        expect(page.locator("#id_animals input:checked")).to_have_count(number + 1)
        assert page.evaluate("scrollY") == 0
        assert bottom(save) <= DESK["height"], number
    assert len(hand.did) == 20


def bottom(of: Locator) -> float:
    box = of.bounding_box()
    assert box is not None
    return box["y"] + box["height"]

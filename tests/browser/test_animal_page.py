"""An animal's page at a desk and on a phone: the answer and what to do are on the first screen."""

from dataclasses import dataclass

import pytest
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_commerce import serious_faults

pytestmark = pytest.mark.one_in(3)

DESK, PHONE = {"width": 1440, "height": 900}, {"width": 360, "height": 740}


@dataclass(frozen=True)
class Told:
    session: str
    path: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    """Verified until somebody contradicted that; in the hands of one keeper with a short name."""
    world = site.world
    animal = world.verified("R-50")
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    for grams in range(20):
        noted = {"noted": {"type": "weight", "grams": str(900 + grams)}}
        world.say(world.odile, "husbandry_noted", animal.pk, noted)
    return Told(session_of(world.odile), f"/animals/{animal.pk}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.some(1)
def test_the_first_screen_of_a_phone_holds_the_answer_and_its_button(
    opened: Open, story: Told, scheme: str
) -> None:
    page = opened(story.path, session=story.session, viewport=PHONE, color_scheme=scheme)
    page.reload()  # a first page may keep the machine's own fonts, which are as wide as they are
    for shown in ("h1", ".standing .label", ".standing .button"):
        box = page.locator(shown).first.bounding_box()
        assert box
        assert box["y"] + box["height"] <= PHONE["height"], shown
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    assert serious_faults(page) == []


def test_a_desk_has_the_drawings_beside_the_answer_and_all_opens_without_script(
    opened: Open, story: Told
) -> None:
    page = opened(story.path, session=story.session, viewport=DESK, java_script_enabled=False)
    answer, drawn, proof = (
        page.locator(f".sheet > {one}").bounding_box() for one in (".answer", ".drawn", ".proof")
    )
    assert answer
    assert drawn
    assert proof
    assert answer["x"] < drawn["x"] < proof["x"]
    assert answer["y"] == drawn["y"] == proof["y"]
    figure = page.locator(".drawn svg").first.bounding_box()
    assert figure
    assert figure["y"] + figure["height"] <= DESK["height"]
    objecting = page.get_by_role("link", name="Object", exact=True).last
    assert not objecting.is_visible()
    page.locator(".call summary").last.click()
    assert objecting.is_visible()
    page.get_by_text("Care", exact=True).click()
    assert page.get_by_role("link", name="Weight", exact=True).is_visible()
    page.get_by_text("Sell", exact=True).first.click()
    assert not page.get_by_role("link", name="Weight", exact=True).is_visible()


@pytest.mark.parametrize("width", [360, 768, 1440])
@pytest.mark.some(1)
def test_nothing_scrolls_sideways_with_all_of_it_open(
    opened: Open, story: Told, width: int
) -> None:
    page = opened(story.path, session=story.session, viewport={"width": width, "height": 800})
    page.evaluate(
        "for (const one of document.querySelectorAll('main details')) {"
        " one.removeAttribute('name'); one.open = true }"
    )
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert serious_faults(page) == []

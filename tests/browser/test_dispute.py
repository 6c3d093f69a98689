"""A dispute and the figures of examiners, at a desk and on a phone."""

from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_animal_page import DESK, PHONE

from scalewitness.disputes.models import Dispute
from scalewitness.mail.models import Letter

pytestmark = pytest.mark.one_in(3)


@dataclass(frozen=True)
class Told:
    session: str
    dispute: str
    figures: tuple[str, ...]


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    """A sold male whom a stranger called female; letters about it have left."""
    world = site.world
    animal = world.verified("R-51")
    world.sold(animal)
    world.pass_time(days=1)
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    Letter.objects.update(state="sent", sent_at=world.now)
    figures = (f"/examiners/{world.stan.pk}", f"/collections/{world.collection.pk}/agreement")
    return Told(session_of(world.odile), f"/disputes/{Dispute.objects.get().pk}", figures)


def sides(page: Page) -> list[dict[str, float]]:
    found = [one.bounding_box() for one in page.locator(".sides > section").all()]
    return [dict(one) for one in found if one]


def test_the_two_sides_stand_beside_each_other_at_a_desk_and_below_on_a_phone(
    opened: Open, story: Told
) -> None:
    female, male = sides(opened(story.dispute, session=story.session, viewport=DESK))
    assert female["y"] == male["y"]
    assert female["x"] + female["width"] <= male["x"]
    female, male = sides(opened(story.dispute, session=story.session, viewport=PHONE))
    assert female["x"] == male["x"]
    assert female["y"] + female["height"] <= male["y"]


def test_lanes_are_within_the_page_and_their_list_opens_without_script(
    opened: Open, story: Told
) -> None:
    page = opened(story.dispute, session=story.session, viewport=PHONE, java_script_enabled=False)
    lanes = page.locator(".plot-time svg").first
    assert lanes.locator("text", has_text="Stan Okoro").is_visible()
    assert lanes.locator("text", has_text="The buyer").is_visible()
    row = page.get_by_text("The buyer, by letter: told that it is no longer verified male.")
    assert not row.is_visible()
    page.get_by_text("The same as a list").click()
    assert row.is_visible()
    finding = page.get_by_role("button", name="Record the finding")
    assert not finding.is_visible()
    page.locator("#finding summary").click()
    assert finding.is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
@pytest.mark.some(1)
def test_nothing_scrolls_sideways_and_no_rule_is_broken(
    opened: Open, story: Told, width: int, scheme: str
) -> None:
    viewport = {"width": width, "height": 800}
    for path in (story.dispute, *story.figures):
        page = opened(path, session=story.session, viewport=viewport, color_scheme=scheme)
        page.evaluate(
            "for (const one of document.querySelectorAll('main details')) one.open = true"
        )
        assert page.evaluate("document.documentElement.scrollWidth") == width, path
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], path

"""The first page: what waits with one button each, and three steps where nothing waits yet."""

from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, ViewportSize, expect
from tests.browser.conftest import Open, Site, session_of

pytestmark = pytest.mark.one_in(3)

PHONE: ViewportSize = {"width": 360, "height": 740}
DESK: ViewportSize = {"width": 1440, "height": 900}
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])


@dataclass(frozen=True)
class Told:
    """``guest`` was invited; ``new`` has nothing yet."""

    guest: str
    new: str
    host: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    world.invite(world.greta, world.animal("R-50"), world.animal("R-51"))
    return Told(session_of(world.greta), session_of(world.fenna), session_of(world.odile))


def no_fault(page: Page, width: int) -> None:
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


@SIZES
def test_what_needs_one_stands_on_the_first_screen_with_its_button(
    opened: Open, story: Told, size: ViewportSize
) -> None:
    """Before the three steps of whoever keeps no animals yet."""
    page = opened("/", story.guest, viewport=size, java_script_enabled=False)
    needs = page.get_by_role("region", name="Needs you")
    expect(needs.get_by_role("listitem")).to_have_count(1)
    matter = needs.get_by_role("listitem").first
    expect(matter).to_be_in_viewport(ratio=1)
    button = matter.get_by_role("link")
    expect(button).to_be_in_viewport(ratio=1)
    button.click()
    expect(page.get_by_role("button", name="Accept")).to_be_visible()


@SIZES
@pytest.mark.some(1)
def test_the_first_page_breaks_no_rule(opened: Open, story: Told, size: ViewportSize) -> None:
    for session in (story.host, story.new):
        page = opened("/", session, viewport=size)
        no_fault(page, size["width"])


@SIZES
def test_whoever_begins_has_three_steps_the_first_in_sight(
    opened: Open, story: Told, size: ViewportSize
) -> None:
    page = opened("/", story.new, viewport=size, java_script_enabled=False)
    steps = page.locator("ol.steps > li")
    expect(steps).to_have_count(3)
    expect(steps.first.get_by_role("link").first).to_be_in_viewport(ratio=1)
    page.get_by_role("link", name="Look at an example first").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert page.url.endswith("/example")

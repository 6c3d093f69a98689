"""A clutch of fourteen as one registers it at the desk: a few clicks and the keys of the data."""

from dataclasses import dataclass
from uuid import UUID

import pytest
from playwright.sync_api import Locator, Page, expect
from tests.browser.conftest import Open, Site, session_of
from tests.world import new_id

pytestmark = pytest.mark.one_in(3)

MOST_CLICKS = 12
WEIGHTS = [f"{11 + number / 10:.1f}" for number in range(14)]


@dataclass(frozen=True)
class Told:
    session: str
    collection: UUID
    pairing: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    dam, sire = world.animal("D-1"), world.animal("S-1")
    body = {"sire": str(sire.pk), "dam": str(dam.pk), "season": world.now.year}
    world.say(world.odile, "pairing_planned", pairing := new_id(world.now), body)
    return Told(session_of(world.odile), world.collection.pk, str(pairing))


@dataclass
class Hand:
    """Counts what a hand does with the mouse."""

    clicks: int = 0

    def click(self, what: Locator) -> None:
        self.clicks += 1
        what.click()


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.id"))


@pytest.mark.parametrize("width", [1440, 360])
@pytest.mark.some(1)
def test_fourteen_take_few_clicks_and_the_data(opened: Open, story: Told, width: int) -> None:
    hand, pattern = Hand(), f"L{width}-##"
    path = f"/collections/{story.collection}"
    page = opened(path, session=story.session, viewport={"width": width, "height": 800})
    hand.click(page.get_by_role("link", name="Register a clutch"))
    hand.click(page.locator(f"input[value='{story.pairing}']"))
    hand.click(page.get_by_label("Hatched or born"))
    page.get_by_label("Hatched or born").fill("2026-10-01")
    hand.click(page.get_by_label("How many"))
    page.keyboard.type("14")
    hand.click(page.get_by_label("Codes"))
    page.keyboard.type(pattern)
    hand.click(page.get_by_role("button", name="Next"))
    expect(page.locator("table.young tbody tr")).to_have_count(14)
    page.wait_for_load_state("load")  # before its script runs, Enter only looks through the rows
    assert focused(page) == "id_y-0-grams"
    for weight in WEIGHTS:
        page.keyboard.type(weight)
        page.keyboard.press("Enter")
    assert focused(page) == "id_y-0-traits", "the next column"
    hand.click(page.get_by_role("button", name="Register them"))
    span = f"L{width}-01 to L{width}-14"
    expect(page.locator(".message")).to_contain_text(f"14 young registered: {span}.")
    assert hand.clicks <= MOST_CLICKS
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_rows_are_narrow_at_the_desk_and_questions_come_with_a_check(
    opened: Open, story: Told
) -> None:
    page = _grid(opened, story, "Q-##")
    heights = page.evaluate(
        "[...document.querySelectorAll('.young tbody tr')].map((row) => row.offsetHeight)"
    )
    assert len(heights) == 14
    assert max(heights) <= 34
    asked = page.get_by_text("Had anyone told you their sex before you checked?")
    expect(asked).to_be_hidden()
    page.locator("#id_y-3-check").select_option("nothing female")
    expect(asked).to_be_visible()
    assert page.locator(".of-checks input[type=radio]:checked").count() == 0
    page.locator("#id_y-3-check").press("Enter")
    assert focused(page) == "id_y-4-check"
    page.locator("#id_y-3-grams").focus()
    page.keyboard.press("ArrowUp")
    assert focused(page) == "id_y-2-grams"
    page.get_by_role("button", name="Register them").click()
    expect(page.get_by_role("alert")).to_be_focused()
    assert page.locator("#id_y-3-check").input_value() == "nothing female"


def test_without_script_enter_registers_nothing(opened: Open, story: Told) -> None:
    page = _grid(opened, story, "W-##", java_script_enabled=False)
    page.locator("#id_y-0-grams").fill("12.5")
    page.locator("#id_y-0-grams").press("Enter")
    expect(page.locator("#id_y-0-grams")).to_have_value("12.5")
    expect(page.get_by_role("button", name="Register them")).to_be_visible()
    page.get_by_role("button", name="Register them").click()
    expect(page.locator(".message")).to_contain_text("14 young registered: W-01 to W-14.")


def _grid(opened: Open, story: Told, pattern: str, **options: object) -> Page:
    path = f"/collections/{story.collection}/clutches/new"
    page = opened(path, session=story.session, expected="422",
                  viewport={"width": 1440, "height": 900}, **options)  # fmt: skip
    page.locator(f"input[value='{story.pairing}']").check()
    page.get_by_label("Hatched or born").fill("2026-10-01")
    page.get_by_label("How many").fill("14")
    page.get_by_label("Codes").fill(pattern)
    page.get_by_label("Codes").press("Enter")
    expect(page.locator("table.young tbody tr")).to_have_count(14)
    page.wait_for_load_state("load")  # before its script runs, Enter only looks through the rows
    return page

"""A messy sheet of more than three hundred lines, from the keeper's disk to the record."""

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Locator, Page, expect
from tests.browser.conftest import Open, Site, session_of

from scalewitness.pages.importing import importing

pytestmark = pytest.mark.one_in(3)

MESSY = Path(__file__).parents[2] / "fixtures_demo" / "lists" / "animals.xlsx"
LINES = 328
"""As a spreadsheet shows them, headings, totals and blank ones among them."""
MOST_DECISIONS = 15


@pytest.fixture(scope="module")
def story(site: Site) -> str:
    return session_of(site.world.odile)


@dataclass
class Hand:
    """Counts what its keeper decides."""

    page: Page
    decisions: int = 0

    def decide(self, what: Locator) -> None:
        self.decisions += 1
        what.check()

    def press(self, name: str) -> None:
        """A button that leads on; until the next page stands there."""
        self.decisions += 1
        with self.page.expect_navigation():
            self.page.get_by_role("button", name=name).click()

    def answer(self, question: str, words: str) -> None:
        group = self.page.get_by_role("group", name=question)
        self.decide(group.get_by_label(words, exact=words in ("Male", "Female")))


def counted(page: Page) -> dict[str, int]:
    """How many lines of each sort the page tells of."""
    links = page.get_by_role("navigation", name="Lines").get_by_role("link").all_inner_texts()
    return {name: int(number) for name, number in (one.rsplit(": ", 1) for one in links)}


def brought(hand: Hand) -> dict[str, int]:
    hand.decisions += 1
    hand.page.get_by_label("Your list").set_input_files(MESSY)
    hand.press("Read it")
    expect(hand.page.get_by_role("heading", name="animals.xlsx")).to_be_visible()
    assert "animals stored" not in hand.page.inner_text("main")
    return counted(hand.page)


def answered(hand: Hand) -> dict[str, int]:
    hand.answer("Whose word are the sexes", "My own list")
    hand.decisions += 1
    hand.page.get_by_label("The day").fill("2026-11-01")
    hand.answer("Some days are not whole", "Store the animals without a day")
    hand.answer("lost noughts in front", "put the noughts back")
    hand.answer("plain numbers", "read all of them so")
    hand.answer("makes 1 of 1.0", "Male")
    hand.answer("makes days of counts", "read each as the count that it was")
    hand.answer("The sheet hides 4 lines", "like the rest")
    hand.answer("Some parents are neither", "Store them without this parent")
    hand.decisions += 2  # two misspelt species: one guess is agreed to, the other put right
    hand.page.get_by_label("Tiger ratsnake").select_option("pantherophis_obsoletus")
    hand.press("Look again")
    assert "What the list leaves open" not in hand.page.inner_text("main")
    return counted(hand.page)


def refused(page: Page, folder: Path) -> list[list[str]]:
    with page.expect_download() as fetched:
        page.get_by_role("link", name="What is not stored").click()
    fetched.value.save_as(file := folder / "refused.csv")
    return list(csv.reader(file.read_text(encoding="utf-8-sig").splitlines()))[1:]


def test_a_messy_sheet_takes_few_decisions_and_every_line_is_accounted_for(
    opened: Open, story: str, tmp_path: Path
) -> None:
    page = opened("/import", session=story, viewport={"width": 1440, "height": 900})
    hand = Hand(page)
    assert sum(brought(hand).values()) == LINES
    before = answered(hand)
    assert sum(before.values()) == LINES
    assert before["Will be stored"] >= 290
    hand.press(f"Store {before['Will be stored']} animals")
    expect(page.get_by_role("status")).to_contain_text("animals stored")
    stored = {"Stored" if name == "Will be stored" else name: n for name, n in before.items()}
    assert counted(page) == stored
    rows = refused(page, tmp_path)
    assert len(rows) == before["Cannot be stored"]
    assert all(row[-1].startswith("Line ") for row in rows)
    assert hand.decisions <= MOST_DECISIONS, hand.decisions


def test_a_long_list_goes_on_by_itself_and_tells_how_far_it_is(
    opened: Open, story: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each request stores some lines; here the first ten, as if the machine were slow."""
    monkeypatch.setattr(importing, "AT_A_STRETCH", 0.0)
    page = opened("/import", session=story)
    rows = "".join(f"LG-{number},bp\n" for number in range(35))
    page.get_by_label("Your list").set_input_files(
        {"name": "long.csv", "mimeType": "text/csv", "buffer": f"tag,species\n{rows}".encode()}
    )
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("button", name="Store 35 animals").click()
    expect(page.get_by_text("35 animals stored.")).to_be_visible()
    assert counted(page)["Stored"] == 35
    assert page.get_by_role("progressbar").count() == 0


def test_without_script_and_by_keyboard_on_a_phone(opened: Open, story: str) -> None:
    page = opened(
        "/import", session=story, viewport={"width": 360, "height": 740}, java_script_enabled=False
    )
    text = b"tag;species;sex\nPH-1;bp;0.1\nPH-2;bp;\nPH-3;bp;1.2\n"
    page.get_by_label("Your list").set_input_files(
        {"name": "phone.csv", "mimeType": "text/csv", "buffer": text}
    )
    page.get_by_label("Your list").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/imports/**")
    page.get_by_label("My own list").focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Look again").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Store 2 animals").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("2 animals stored.")
    assert counted(page)["Cannot be stored"] == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= 360

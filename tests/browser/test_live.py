"""Pages that answer while one types or chooses, and do the same without script."""

from dataclasses import dataclass
from uuid import UUID

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from tests.browser.conftest import Open, Site, session_of
from tests.world import new_id

from scalewitness.animals.services import create_collection
from scalewitness.pages.parts.picks import LIKELY, SHOWN

pytestmark = pytest.mark.one_in(4)


@dataclass(frozen=True)
class Told:
    session: str
    collection: UUID
    animal: UUID
    crowded: UUID


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    animal = world.animal("R-50")
    world.animal("R-51")
    world.animal("Q-7")
    world.call(world.odile, animal, "male")
    crowded = create_collection(world.odile, new_id(world.now), "The hall", world.now)
    for number in range(SHOWN + 2):
        world.animal(f"H-{number:02}", room=crowded)
    return Told(session_of(world.odile), world.collection.pk, animal.pk, crowded.pk)


def marked(page: Page) -> Page:
    """A page that would lose its mark by being loaded again."""
    page.evaluate("window.kept = true")
    return page


def test_the_list_narrows_while_one_types(opened: Open, story: Told) -> None:
    page = marked(opened(f"/collections/{story.collection}", session=story.session))
    found = page.locator("#found tbody tr")
    expect(found).to_have_count(3)
    page.get_by_label("Find", exact=True).press_sequentially("R-5", delay=20)
    expect(found).to_have_count(2)
    assert page.evaluate("window.kept") is True
    assert page.url.endswith("?q=R-5"), "it can be kept and sent"
    page.get_by_label("Find", exact=True).press_sequentially("9", delay=20)
    expect(page.locator("#found")).to_contain_text("No animal here is like that.")
    kept = page.evaluate("JSON.stringify([localStorage, sessionStorage])")
    assert "R-51" not in kept, "no page is left in the browser's stores"


def test_without_script_the_list_is_asked_for(opened: Open, story: Told) -> None:
    path = f"/collections/{story.collection}"
    page = opened(path, session=story.session, java_script_enabled=False)
    page.get_by_label("Find", exact=True).fill("R-51")
    page.get_by_role("button", name="Find").click()
    expect(page.locator("#found tbody tr")).to_have_count(1)


def test_what_would_be_said_is_worked_out_as_one_chooses(opened: Open, story: Told) -> None:
    page = marked(opened(f"/animals/{story.animal}/what-if", session=story.session))
    labels = page.locator("#worked-out .label")
    expect(labels).to_have_text(["contested", "probable male", "verified male"])
    page.get_by_label("By whom?").select_option("I, once more")
    expect(labels).not_to_have_text(["contested", "probable male", "verified male"])
    assert page.url.endswith("who=mine"), "it can be kept and sent"
    assert page.evaluate("window.kept") is True


def test_three_answers_stand_side_by_side_and_beneath_each_other_on_a_phone(
    opened: Open, story: Told
) -> None:
    path = f"/animals/{story.animal}/what-if"
    page = opened(path, session=story.session, java_script_enabled=False)
    page.set_viewport_size({"width": 1280, "height": 800})
    boxes = [one.bounding_box() for one in page.locator(".thirds > section").all()]
    assert [one["y"] for one in boxes if one] == [boxes[0]["y"]] * 3  # type: ignore[index]
    page.set_viewport_size({"width": 360, "height": 740})
    boxes = [one.bounding_box() for one in page.locator(".thirds > section").all()]
    assert len({one["x"] for one in boxes if one}) == 1
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    page.get_by_label("By whom?").select_option("A laboratory, reported")
    page.get_by_role("button", name="Work it out").click()
    assert page.locator(".thirds > section").count() == 3


@pytest.mark.parametrize("script", [True, False])
def test_what_is_chosen_stays_while_one_looks_for_more(
    opened: Open, story: Told, script: bool
) -> None:
    path = f"/collections/{story.crowded}/sales/new"
    page = marked(opened(path, session=story.session, java_script_enabled=script))
    page.get_by_label("The buyer's name").fill("Bela Novak")
    boxes = page.locator("#offered-animals input[type=checkbox]")
    expect(boxes).to_have_count(SHOWN)
    boxes.first.check()
    chosen = boxes.first.get_attribute("value")
    page.get_by_label("Find by name, tag or transponder").press_sequentially("H-0", delay=20)
    if not script:
        page.get_by_role("button", name="Find").click()
    expect(boxes).not_to_have_count(SHOWN)
    assert boxes.count() > 1
    expect(page.locator(f"#offered-animals input[value='{chosen}']")).to_be_checked()
    assert page.get_by_label("The buyer's name").input_value() == "Bela Novak"
    assert "Bela" not in page.url, "what is typed stays out of addresses"


@pytest.mark.parametrize("script", [True, False])
@pytest.mark.some(1)
def test_a_dam_is_found_as_one_types_and_a_few_are_offered(
    opened: Open, story: Told, script: bool
) -> None:
    path = f"/collections/{story.crowded}/animals/new"
    page = marked(opened(path, session=story.session, java_script_enabled=script))
    page.get_by_label("Name", exact=True).fill("Perrin")
    dam, sire = page.locator("#pick-dam"), page.locator("#pick-sire")
    expect(dam.get_by_role("radio")).to_have_count(LIKELY + 1)
    dam.get_by_label("Find by name, tag or transponder").press_sequentially("H-07", delay=20)
    if not script:
        dam.get_by_role("button", name="Find").click()
        assert page.url.endswith("#pick-dam"), "where one was looking"
    expect(dam.get_by_role("radio")).to_have_count(2)
    dam.get_by_label("H-07").check()
    sire.get_by_label("Find by name, tag or transponder").fill("nothing is called so")
    sire.get_by_role("button", name="Find").click()
    expect(sire).to_contain_text("Nothing here matches")
    expect(page.locator("#pick-dam").get_by_label("H-07")).to_be_checked()
    assert page.get_by_label("Name", exact=True).input_value() == "Perrin"
    assert "Perrin" not in page.url


def test_animals_that_travelled_are_found_as_one_types(opened: Open, story: Told) -> None:
    """By a form whose address can be sent on."""
    page = marked(opened(f"/collections/{story.crowded}/swaps", session=story.session))
    boxes = page.locator("#offered-animals input[type=checkbox]")
    boxes.first.check()
    page.get_by_label("Find by name, tag or transponder").press_sequentially("H-07", delay=20)
    expect(boxes).to_have_count(2)
    expect(boxes.first).to_be_checked()
    assert page.evaluate("window.kept") is True


def test_enter_sends_a_form_unless_something_stands_in_a_search(opened: Open, story: Told) -> None:
    path = f"/collections/{story.crowded}/sales/new"
    page = opened(path, session=story.session, expected="422")
    page.get_by_label("Find by name, tag or transponder").fill("H-01")
    page.get_by_label("Find by name, tag or transponder").press("Enter")
    expect(page.locator("#offered-animals input[type=checkbox]")).to_have_count(1)
    assert page.get_by_role("alert").count() == 0, "nothing was sent"
    page.get_by_label("Find by name, tag or transponder").fill("")
    page.get_by_label("The buyer's name").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("The buyer's name")


def test_several_chosen_are_written_to_a_file(opened: Open, story: Told) -> None:
    page = opened(f"/collections/{story.crowded}", session=story.session)
    for code in ("H-00", "H-01"):
        page.get_by_label(f"Choose {code}").check()
    with page.expect_download() as download:
        page.get_by_role("button", name="Export").click()
    text = download.value.path().read_text("utf-8-sig")
    assert download.value.suggested_filename == "animals.csv"
    assert [line.split(",")[1] for line in text.splitlines()] == ["tag", "H-00", "H-01"]


PATHS = ("/example", "/collections/{}/animals/new", "/collections/{}/sales/new", "/animals")


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.some(1)
def test_axe_finds_nothing_where_one_picks_or_reads_the_example(
    opened: Open, story: Told, width: int, scheme: str
) -> None:
    page = opened("/example", session=story.session, color_scheme=scheme,
                  viewport={"width": width, "height": 740})  # fmt: skip
    for path in PATHS:
        page.goto(path.format(story.crowded))
        found = Axe().run(page).response["violations"]
        assert not found, (path, [(one["id"], one["nodes"][0]["html"]) for one in found])
        assert page.evaluate("document.documentElement.scrollWidth") == width, path

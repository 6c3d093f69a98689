"""Is it the same snake? A buyer with a reader and a phone in hand."""

from dataclasses import dataclass
from datetime import timedelta
from uuid import UUID

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_commerce import PHONE, keep, token
from tests.pictures import body_of, camera_file, plain_file

from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file

pytestmark = pytest.mark.one_in(3)

CHIP = "276098100000001"


@dataclass(frozen=True)
class Told:
    offer: str
    arrival: str
    sale: str
    seller: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    world.now -= timedelta(days=20)
    animal = world.verified("R-50", "female")
    code = {"scheme": "transponder", "code": CHIP}
    world.say(world.odile, "identifier_assigned", animal.pk, code)
    file = plain_file(1200, 800)
    photo = world.say(world.odile, "photo_attached", animal.pk, body_of(file))
    take_photo_file(UUID(photo.id or ""), file, Actor(keeper=world.odile.pk), world.now)
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    offer = f"/offers/{token(sale, 'disclosure')}"
    arrival = f"{offer}/animals/{animal.pk}/arrival"
    return Told(offer, arrival, f"/sales/{sale.pk}", session_of(world.odile))


def test_another_snake_is_found_compared_and_reported_on_a_phone(opened: Open, story: Told) -> None:
    page = opened(story.offer, viewport=PHONE, expected="422")
    expect(page.get_by_role("link", name="Is it the same snake?")).to_be_in_viewport(ratio=1)
    page.get_by_role("link", name="Is it the same snake?").click()
    look(page, "arrival")
    page.get_by_label("The transponder you read").fill("276 098 100 000 002")
    page.get_by_label("Yours, to look at").set_input_files(
        {"name": "own.jpg", "mimeType": "image/jpeg", "buffer": camera_file()}
    )
    mine, theirs = page.get_by_label("Your photo"), page.get_by_alt_text("The snake that was")
    expect(mine).to_be_visible()
    assert mine.evaluate("one => [one.width, one.height]") == [40, 60], "upright, as it was taken"
    assert theirs.bounding_box()["width"] > PHONE["width"] * 0.8  # type: ignore[index]
    page.get_by_label("Yes, the same snake").check()
    page.get_by_role("button", name="Put it on record").click()
    reason = page.get_by_role("alert")
    expect(reason).to_be_focused()
    expect(reason).to_contain_text("is another snake, or one digit is wrong")
    expect(page.get_by_label("The transponder you read")).to_have_value("276 098 100 000 002")
    look(page, "arrival-refused")
    page.get_by_label("No, another snake").check()
    page.get_by_role("button", name="Put it on record").dblclick()
    expect(page.get_by_role("status")).to_contain_text("Another snake arrived")
    expect(page.get_by_role("heading", name="What to do next")).to_be_in_viewport(ratio=1)
    look(page, "arrival-another")
    page.goto(story.offer)
    expect(page.get_by_text("Another snake arrived").first).to_be_in_viewport(ratio=1)
    look(page, "arrived")


def test_without_script_nobody_is_offered_a_photo_that_would_not_show(
    opened: Open, story: Told
) -> None:
    page = opened(story.arrival, viewport=PHONE, java_script_enabled=False)
    if page.get_by_text("Answer anew").count():
        page.get_by_text("Answer anew").click()
    expect(page.get_by_label("The transponder you read")).to_be_visible()
    expect(page.get_by_label("Yours, to look at")).to_be_hidden()


def test_its_seller_reads_it(opened: Open, story: Told) -> None:
    look(opened(story.sale, story.seller, viewport=PHONE), "arrival-seller")


def look(page: Page, name: str) -> None:
    """As every eye does, and at a desk's width too."""
    for width in (PHONE["width"], 1440):
        page.set_viewport_size(PHONE | {"width": width})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            keep(page, f"{name}-{width}-{scheme}")
            found = Axe().run(page).response["violations"]
            assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], (width, scheme)
        assert page.evaluate("document.documentElement.scrollWidth") == width
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]

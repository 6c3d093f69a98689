"""A visit as a guest and a host have it in their hands, on a phone and at the desk."""

from dataclasses import dataclass, field
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit
from uuid import UUID

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, ViewportSize, expect
from tests.browser.conftest import Open, Site, session_of
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.invitations import invite_by_letter

pytestmark = pytest.mark.one_in(3)

PHONE: ViewportSize = {"width": 360, "height": 740}
MOST_TAPS, MOST_SCREENS = 12, 3
CODES = ("V-01", "V-02", "V-03")


@dataclass(frozen=True)
class Told:
    """``again``: the guest in another browser, who has read nothing today."""

    guest: str
    again: str
    host: str
    visit: UUID
    collection: UUID
    animals: list[Animal]
    letter: UUID


def by_letter(world: World, animal: Animal) -> dict[str, object]:
    opens, closes = (rfc3339(world.now + timedelta(days=days)) for days in (0, 3))
    return {
        "collection": str(world.collection.pk),
        "animals": [str(animal.pk)],
        "opens": opens,
        "closes": closes,
    }


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    animals = [world.animal(code) for code in CODES]
    world.call(world.odile, animals[1], "male")
    for number in range(1, 41):
        world.animal(f"W-{number:02}")
    letter, body = new_id(world.now), by_letter(world, animals[0])
    invite_by_letter(letter, "somebody@people.example", body, world.odile, world.now)
    visit = world.visit(world.greta, *animals)
    return Told(
        session_of(world.greta),
        session_of(world.greta),
        session_of(world.odile),
        visit,
        world.collection.pk,
        animals,
        letter,
    )


@dataclass
class Hand:
    """Counts taps, and the addresses of the pages that they lead to."""

    page: Page
    taps: int = 0
    pages: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.pages.append(self.page.url)

    def tap(self, what: Locator) -> None:
        self.taps += 1
        what.tap()
        if self.page.url != self.pages[-1]:
            self.pages.append(self.page.url)

    def answer(self, question: str, answer: str) -> None:
        asked = self.page.get_by_role("group", name=question)
        self.tap(asked.get_by_role("radio", name=answer, exact=True))

    def type(self, label: str, text: str) -> None:
        self.tap(self.page.get_by_label(label, exact=True))
        self.page.keyboard.type(text)


def phone(opened: Open, told: Told, path: str = "") -> Page:
    where = path or f"/visits/{told.visit}/sheet"
    return opened(where, session=told.guest, viewport=PHONE, has_touch=True)


def probe_both_sides(hand: Hand, code: str) -> None:
    hand.answer("How did you know which animal it was?", "Tub tag read")
    hand.type("The code, as you read it then", code)
    hand.answer("Had anyone told you its sex before you checked?", "Nobody")
    hand.type("Left side: scales deep", "9")
    hand.answer("Left side: how it stopped", "Resistance")
    hand.type("Right side: scales deep", "8.5")
    hand.answer("Right side: how it stopped", "Resistance")
    hand.answer("What do you conclude?", "Male")
    hand.answer("How sure are you?", "Fairly sure")
    hand.answer("Who held the animal?", "A second person")


def test_two_sides_take_twelve_taps_and_three_screens(opened: Open, story: Told) -> None:
    page = phone(opened, story)
    hand = Hand(page)
    expect(page.get_by_text("0 of 3 checked")).to_be_visible()
    hand.tap(page.get_by_role("link", name="Check V-01"))
    expect(page.locator("input:checked")).to_have_count(0)
    save = page.get_by_role("button", name="Record this call")
    ends = page.evaluate("el => el.getBoundingClientRect().bottom + scrollY", save.element_handle())
    assert ends <= MOST_SCREENS * PHONE["height"]
    for target in page.locator(".rack .field label:has(> input)").all():
        box = target.bounding_box()
        assert box is None or box["height"] >= 56
    assert page.locator(".plot").count() == 0, "no range leads whoever still has to conclude"
    probe_both_sides(hand, "V-01")
    hand.tap(save)
    expect(page.get_by_role("heading", name="Recorded. V-01")).to_be_visible()
    assert hand.taps <= MOST_TAPS
    assert len(hand.pages) <= MOST_SCREENS
    expect(page.get_by_text("1 of 3 checked")).to_be_visible()
    expect(page.locator(".plot").first).to_contain_text("males usually")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("link", name="Next: V-02").click()
    expect(page.get_by_role("heading", name="Probing")).to_be_visible()


def test_depths_step_by_half_a_scale(opened: Open, story: Told) -> None:
    path = f"/animals/{story.animals[2].pk}/calls/new/probing"
    page = phone(opened, story, path)
    left = page.get_by_label("Left side: scales deep", exact=True)
    page.get_by_role("button", name="More: Left side: scales deep").tap()
    expect(left).to_have_value("0.5")
    left.fill("8")
    page.get_by_role("button", name="More: Left side: scales deep").tap()
    expect(left).to_have_value("8.5")
    page.get_by_role("button", name="Less: Left side: scales deep").tap()
    expect(left).to_have_value("8")
    plain = opened(path, session=story.guest, java_script_enabled=False)
    field = plain.get_by_label("Left side: scales deep", exact=True)
    assert (field.get_attribute("type"), field.get_attribute("step")) == ("number", "0.5")
    expect(plain.locator(".stepper")).to_have_count(0)


def test_cautions_are_read_once_a_day_and_never_left_out(opened: Open, story: Told) -> None:
    page = opened(f"/visits/{story.visit}/sheet", session=story.again, viewport=PHONE)
    cautions = page.locator("details.cautions")
    expect(cautions.get_by_text("Never push.")).to_be_visible()
    for path in (
        f"/animals/{story.animals[2].pk}/calls/new",
        f"/animals/{story.animals[2].pk}/calls/new/probing",
    ):
        page.goto(path)
        expect(cautions).to_contain_text("Before any check: never push")
        expect(cautions.get_by_text("Never push.")).to_be_hidden()
        cautions.locator("summary").click()
        expect(cautions.get_by_text("Never push.")).to_be_visible()


DESK: ViewportSize = {"width": 1440, "height": 900}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.some(1)
def test_no_page_of_a_visit_is_at_fault(
    opened: Open, story: Told, size: ViewportSize, scheme: str
) -> None:
    """Nothing that axe finds, of any grade, and nothing that scrolls sideways."""
    one = story.animals[2].pk
    room, sheet = f"/collections/{story.collection}", f"/visits/{story.visit}"
    for session, path in (
        (story.guest, f"{sheet}/sheet"),
        (story.guest, f"/animals/{one}/calls/new"),
        (story.guest, f"/animals/{one}/calls/new/probing"),
        (story.guest, f"/animals/{one}/calls/new/dna"),
        (story.host, f"{room}/visits/new"),
        (story.host, f"/visits/by-letter/{story.letter}"),
        (story.host, "/visits"),
        (story.host, f"{room}/plan?minutes=60&by=keeper"),
    ):
        page = opened(path, session=session, viewport=size, color_scheme=scheme)
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") == size["width"], path


def test_ten_of_many_are_chosen_and_invited_on_one_screen(opened: Open, story: Told) -> None:
    """From the animals' table, with one more found on the form itself, with and without script."""
    for script in (True, False):
        page = opened(
            f"/collections/{story.collection}?q=W-",
            session=story.host,
            viewport=DESK,
            java_script_enabled=script,
        )
        for box in page.locator(".dense tbody input[type=checkbox]").all()[:9]:
            box.check()
        page.get_by_role("button", name="Invite to check").click()
        expect(page.locator("#id_animals input:checked")).to_have_count(9)
        save = page.get_by_role("button", name="Invite", exact=True)
        ends = page.evaluate(
            "el => el.getBoundingClientRect().bottom + scrollY", save.element_handle()
        )
        assert ends <= DESK["height"]
        page.get_by_label("Find by name, tag or transponder").fill("W-39")
        if not script:
            page.get_by_role("button", name="Find", exact=True).click()
        page.get_by_label("W-39").check()
        expect(page.locator("#id_animals input:checked")).to_have_count(10)
        page.get_by_role("radio", name="Greta Lund").check()
        page.get_by_role("button", name="Invite", exact=True).click()
        expect(page.get_by_role("heading", name="Greta Lund checks your animals")).to_be_visible()
        expect(page.locator(".facts")).to_contain_text("10")


def order_of(page: Page) -> list[str]:
    found: list[str] = page.locator("[data-animal]").evaluate_all(
        "all => all.map(one => one.dataset.animal)"
    )
    return found


def planned(opened: Open, told: Told, size: ViewportSize, **more: object) -> Page:
    path = f"/collections/{told.collection}/plan?minutes=60&by=keeper"
    page = opened(path, session=told.host, viewport=size, **more)
    assert len(order_of(page)) > 2
    return page


def handle(page: Page, number: int) -> Locator:
    return page.locator("[data-animal]").nth(number).get_by_role("button", name="Move")


def middle(of: Locator) -> tuple[float, float]:
    box = of.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def moved(before: list[str], of: int, to: int) -> list[str]:
    rest = [one for place, one in enumerate(before) if place != of]
    return [*rest[:to], before[of], *rest[to:]]


def holds(page: Page, order: list[str]) -> None:
    """The plan and its address have that order, and the plan is drawn anew."""
    page.wait_for_url("**order=**")
    assert order_of(page) == order
    assert parse_qs(urlsplit(page.url).query)["order"] == order
    expect(page.get_by_role("img", name="of 60 minutes")).to_be_visible()


def test_a_planned_check_is_dragged_and_the_address_holds_it(opened: Open, story: Told) -> None:
    page = planned(opened, story, DESK)
    before = order_of(page)
    handle(page, 2).scroll_into_view_if_needed()
    page.mouse.move(*middle(handle(page, 0)))
    page.mouse.down()
    x, y = middle(page.locator("[data-animal]").nth(1))
    page.mouse.move(x, y + 4, steps=4)
    page.mouse.up()
    holds(page, moved(before, 0, 1))


@pytest.mark.parametrize("ends", ["touchEnd", "touchCancel"])
@pytest.mark.some(1)
def test_a_planned_check_is_moved_by_a_finger(opened: Open, story: Told, ends: str) -> None:
    """As a phone's browser tells of touches; one that is broken off moves nothing."""
    page = planned(opened, story, PHONE, has_touch=True, is_mobile=True)
    before = order_of(page)
    grip = handle(page, 1)
    grip.scroll_into_view_if_needed()
    box = grip.bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44
    page.evaluate("scrollBy(0, -150)")
    (x, start), (_, end) = middle(grip), middle(page.locator("[data-animal]").nth(0))
    scrolled = page.evaluate("scrollY")
    touch = page.context.new_cdp_session(page)
    way = [("touchStart", start), ("touchMove", (start + end) / 2), ("touchMove", end - 4)]
    for kind, y in way:
        points = [{"x": x, "y": y}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    expect(page.locator("[data-animal]").first).to_have_attribute("data-animal", before[1])
    touch.send("Input.dispatchTouchEvent", {"type": ends, "touchPoints": []})
    if ends == "touchEnd":
        holds(page, moved(before, 1, 0))
    else:
        expect(page.locator("[data-animal]").first).to_have_attribute("data-animal", before[0])
        assert order_of(page) == before
        assert page.evaluate("scrollY") == scrolled, "a finger on a handle scrolls no page"
        assert "order=" not in page.url


def test_a_planned_check_is_moved_by_keys(opened: Open, story: Told) -> None:
    page = planned(opened, story, DESK)
    before = order_of(page)
    handle(page, 0).focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    expect(page.locator("[aria-live]", has_text=f": 3 of {len(before)}")).to_have_count(1)
    page.keyboard.press("Escape")
    assert order_of(page) == before
    page.keyboard.press("ArrowDown")
    expect(handle(page, 1)).to_be_focused()
    page.keyboard.press("Enter")
    holds(page, moved(before, 0, 1))


def test_a_planned_check_is_moved_without_script(opened: Open, story: Told) -> None:
    page = planned(opened, story, PHONE, java_script_enabled=False)
    before = [one.get_attribute("data-animal") for one in page.locator("[data-animal]").all()]
    assert page.get_by_role("button", name="Move").count() == 0
    page.get_by_role("link", name="Down").first.click()
    page.wait_for_url("**order=**")
    after = [one.get_attribute("data-animal") for one in page.locator("[data-animal]").all()]
    assert after == [before[1], before[0], *before[2:]]

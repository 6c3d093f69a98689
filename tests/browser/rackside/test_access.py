"""For every hand and eye: axe-core's rules, keyboard alone, 320 px, light and dark."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import HERE, NewPhone, Racks, fill_in, open_sheet, said, save

pytestmark = pytest.mark.one_in(3)

NARROW = {"width": 320, "height": 640}


def no_serious_fault(page: Page) -> None:
    found = Axe().run(page).response["violations"]
    serious = [one for one in found if one["impact"] in ("serious", "critical")]
    assert [(one["id"], one["nodes"][0]["html"]) for one in serious] == []
    assert page.evaluate("document.documentElement.scrollWidth") == 320


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.some(1)
def test_every_view_is_narrow_and_without_serious_fault(
    racks: Racks, phones: NewPhone, scheme: str
) -> None:
    tags = [f"{scheme}-1", f"{scheme}-with-a-very-long-label-of-its-own"]
    visit = racks.visit(*tags)
    meal = {"noted": {"type": "meal", "taken": True}}
    racks.push(racks.odile, said("husbandry_noted", visit.animals[tags[0]], meal))
    phone = phones(viewport=NARROW, color_scheme=scheme)
    page = phone.tab()
    expect(page.get_by_label("Password")).to_be_visible()
    no_serious_fault(page)
    page = phone.signed_in()
    no_serious_fault(page)
    open_sheet(page, visit)
    no_serious_fault(page)
    phone.context.set_offline(True)
    fill_in(page, tags[0])
    no_serious_fault(page)
    save(page, tags[0])
    page.get_by_role("link", name=f"Log a call on {tags[1]}").click()
    page.get_by_role("button", name="Save the call").click()
    expect(page.get_by_role("alert")).to_contain_text("Say what you conclude.")
    no_serious_fault(page)
    for where in ("calls", "phone"):
        page.goto(f"{HERE}#/{where}")
        no_serious_fault(page)


def test_a_call_can_be_logged_by_keyboard_alone(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit("Y-1")
    page = phones().signed_in()
    open_sheet(page, visit)
    page.get_by_label("Find by tag").focus()
    page.keyboard.type("Y-1", delay=80)  # a hand's pace: a reader's keys open an animal

    def press(name: str, *keys: str) -> None:
        """Tab on to the control of this name, then these keys."""
        for _ in range(60):
            page.keyboard.press("Tab")
            here = "document.activeElement"
            if (
                page.evaluate(f"{here}.ariaLabel ?? ({here}.labels?.[0] ?? {here}).textContent")
                == name
            ):
                break
        else:
            pytest.fail(f"never reached: {name}")
        for key in keys:
            page.keyboard.press(key, delay=80)

    press("Log a call on Y-1", "Enter")
    expect(page.get_by_role("heading", name="Y-1")).to_be_focused()
    press("A second person", "Space")
    press("Nobody", "Space")
    press("Left: depth in scales", "2", ".", "5")
    press("Resistance", "Space")
    press("Male", "ArrowRight")
    press("Certain", "ArrowRight")
    press("Save the call", "Space")
    expect(page.locator("#announcement")).to_have_text("Y-1: saved here.")
    expect(page.locator("#waiting")).to_have_text("Nothing waits")
    (call,) = racks.calls_on(visit)
    assert call.body["conclusion"] == "female"
    assert call.body["sureness"] == "fairly_sure"
    assert call.body["observed"]["passes"] == [
        {"side": "left", "depth": "2.5", "stopped": "resistance"}
    ]


def test_what_is_missing_is_said_and_led_to(racks: Racks, phones: NewPhone) -> None:
    visit = racks.visit("M-1")
    page = phones().signed_in()
    page.goto(f"{HERE}#/log/{visit.id}/{visit.animals['M-1']}")
    page.get_by_role("button", name="Save the call").click()
    expect(page.get_by_role("alert")).to_contain_text("Say how you knew which animal it was.")
    expect(page.get_by_label("Tag read")).to_be_focused()
    assert racks.calls_on(visit) == []

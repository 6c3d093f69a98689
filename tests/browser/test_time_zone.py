"""The browser's own time zone is offered where none was chosen, and never taken unasked."""

import pytest
from playwright.sync_api import expect
from tests.browser.conftest import Open, Site, session_of

pytestmark = pytest.mark.one_in(3)


@pytest.fixture(scope="module")
def story(site: Site) -> dict[str, str]:
    return {"odile": session_of(site.world.odile), "fenna": session_of(site.world.fenna)}


def test_today_offers_it_once_and_the_account_has_it(opened: Open, story: dict[str, str]) -> None:
    odile = story["odile"]

    def kept() -> str:
        page = opened("/account", odile, java_script_enabled=False)
        return page.get_by_label("Your time zone").input_value()

    page = opened("/", odile, timezone_id="America/Halifax")
    expect(page.get_by_text("Your browser says America/Halifax")).to_be_visible()
    account = opened("/account", odile, timezone_id="America/Halifax")
    expect(account.get_by_label("Your time zone")).to_have_value("America/Halifax")
    expect(account.get_by_text("From your browser")).to_be_visible()
    assert kept() == "", "not before it is said"
    page.get_by_role("button", name="Use that").click()
    expect(page.get_by_role("status")).to_contain_text("America/Halifax")
    expect(page.get_by_role("button", name="Use that")).to_have_count(0)
    assert kept() == "America/Halifax"
    elsewhere = opened("/account", odile, timezone_id="Asia/Tokyo")
    expect(elsewhere.get_by_label("Your time zone")).to_have_value("America/Halifax")


def test_without_script_nothing_is_offered(opened: Open, story: dict[str, str]) -> None:
    page = opened("/", story["fenna"], java_script_enabled=False)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    expect(page.get_by_text("Your browser says")).to_be_hidden()


def test_an_account_is_made_with_it(opened: Open) -> None:
    page = opened("/accounts/signup/", timezone_id="Asia/Tokyo")
    expect(page.locator("[name=time_zone]")).to_have_value("Asia/Tokyo")

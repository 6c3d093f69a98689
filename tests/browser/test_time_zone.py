"""The browser's own time zone is offered where none was chosen, and never taken unasked."""

import pytest
from playwright.sync_api import expect
from tests.browser.conftest import Open, Site, session_of

from scalewitness.people.models import Keeper


@pytest.fixture(scope="module")
def story(site: Site) -> str:
    return session_of(site.world.odile)


def chosen(site: Site) -> str:
    return Keeper.objects.get(pk=site.world.odile.pk).time_zone


def test_today_offers_it_once_and_the_account_has_it(opened: Open, site: Site, story: str) -> None:
    page = opened("/", story, timezone_id="America/Halifax")
    expect(page.get_by_text("Your browser says America/Halifax")).to_be_visible()
    account = opened("/account", story, timezone_id="America/Halifax")
    expect(account.get_by_label("Your time zone")).to_have_value("America/Halifax")
    expect(account.get_by_text("From your browser")).to_be_visible()
    assert chosen(site) == "", "not before it is said"
    page.get_by_role("button", name="Use that").click()
    expect(page.get_by_role("status")).to_contain_text("America/Halifax")
    expect(page.get_by_role("button", name="Use that")).to_have_count(0)
    assert chosen(site) == "America/Halifax"
    elsewhere = opened("/account", story, timezone_id="Asia/Tokyo")
    expect(elsewhere.get_by_label("Your time zone")).to_have_value("America/Halifax")


def test_without_script_nothing_is_offered(opened: Open, site: Site) -> None:
    page = opened("/", session_of(site.world.fenna), java_script_enabled=False)
    expect(page.get_by_role("heading", name="Today")).to_be_visible()
    expect(page.get_by_text("Your browser says")).to_be_hidden()


def test_an_account_is_made_with_it(opened: Open) -> None:
    page = opened("/accounts/signup/", timezone_id="Asia/Tokyo")
    expect(page.locator("[name=time_zone]")).to_have_value("Asia/Tokyo")

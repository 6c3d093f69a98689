"""A password can be looked at while it is typed; without script nothing is missing."""

import pytest
from django.core.cache import cache
from playwright.sync_api import expect
from tests.browser.conftest import Open, Site
from tests.world import PASSWORD

pytestmark = pytest.mark.one_in(3)


@pytest.fixture(scope="module")
def email(site: Site) -> str:
    cache.clear()
    return site.world.odile.email


def test_what_is_typed_is_shown_and_hidden_again(opened: Open, email: str) -> None:
    page = opened("/accounts/login/")
    field = page.get_by_label("Password", exact=True)
    field.fill(PASSWORD)
    page.get_by_role("button", name="Show it: Password").click()
    expect(field).to_have_attribute("type", "text")
    page.get_by_role("button", name="Hide it: Password").click()
    expect(field).to_have_attribute("type", "password")
    page.get_by_role("button", name="Show it: Password").click()
    page.get_by_label("Email").fill(email)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("link", name="Account")).to_be_visible()


def test_without_script_one_signs_in_as_ever(opened: Open, email: str) -> None:
    page = opened("/accounts/login/", java_script_enabled=False)
    expect(page.get_by_role("button", name="Show it")).to_have_count(0)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_label("Email").fill(email)
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("link", name="Account")).to_be_visible()

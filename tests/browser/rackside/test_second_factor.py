"""Signing in on the phone where a second factor is set up."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import NewPhone, Racks
from tests.site_pages import Pages
from tests.world import PASSWORD

pytestmark = pytest.mark.one_in(2)


@pytest.fixture(scope="module")
def pages(racks: Racks) -> Iterator[Pages]:
    """Of a keeper who has an authenticator app."""
    racks.forgive()
    email = racks.odile.get("keepers/me").json()["email"]
    with Pages(racks.stack.url, email) as pages:
        pages.sign_in()
        pages.set_up_an_app()
        yield pages
        pages.remove_the_app()


def typed(page: Page, email: str) -> None:
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def test_the_phone_asks_for_the_code(racks: Racks, phones: NewPhone, pages: Pages) -> None:
    page = phones("401 (Unauthorized)").tab()
    expect(page.get_by_label("Code")).to_have_count(0)
    typed(page, pages.email)
    expect(page.get_by_label("Code")).to_be_focused()
    expect(page.get_by_role("alert")).to_contain_text("a second factor is needed too")
    page.get_by_label("Code").fill("000000")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("wrong or was used already")
    page.get_by_label("Code").fill(pages.recovery[0])
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Visits")).to_be_visible()


def test_the_phone_is_let_in_by_a_page(racks: Racks, phones: NewPhone, pages: Pages) -> None:
    page = phones("400 (Bad Request)").tab()
    page.get_by_role("button", name="Confirm on a page instead").click()
    told = page.get_by_role("status").filter(has_text="come back")
    expect(told).to_be_visible()
    (code,) = re.findall(r"\b[B-Z]{4}-[B-Z]{4}\b", told.inner_text())
    assert told.get_by_role("link").get_attribute("href") == f"{racks.stack.url}/devices/new"
    assert pages.let_in(code).is_redirect
    expect(page.get_by_role("heading", name="Visits")).to_be_visible()

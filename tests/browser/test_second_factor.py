"""Passkeys in Chromium, with its virtual authenticator (WebAuthn, through its own protocol), and
the pages of a second factor as people see them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from urllib.parse import urlsplit

import pytest
from django.test import override_settings
from playwright.sync_api import CDPSession, Page, expect
from tests.browser.conftest import Open, Site
from tests.second_factors import app_of
from tests.world import PASSWORD

pytestmark = pytest.mark.one_in(4)


@dataclass(frozen=True)
class Told:
    """Addresses of keepers: Odile keeps a collection, Pim has an authenticator app."""

    odile: str
    greta: str
    pim: str
    grants: str


@pytest.fixture(scope="module")
def site(site: Site) -> Iterator[Site]:
    """Under a name: there are no passkeys for bare network addresses."""
    url = f"http://localhost:{urlsplit(site.url).port}"
    with override_settings(PUBLIC_URL=url):
        yield replace(site, url=url)


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    world = site.world
    app_of(world.pim)
    emails = [one.email for one in (world.odile, world.greta, world.pim)]
    return Told(*emails, f"/collections/{world.collection.pk}/grants/new")


def with_a_key(page: Page) -> tuple[CDPSession, str]:
    """The tab has a device that makes passkeys and always finds its owner there."""
    chrome = page.context.new_cdp_session(page)
    chrome.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2",
        "transport": "internal",
        "hasResidentKey": True,
        "hasUserVerification": True,
        "isUserVerified": True,
        "automaticPresenceSimulation": True,
    }
    made = chrome.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    return chrome, str(made["authenticatorId"])


def give_password(page: Page, email: str) -> None:
    page.goto("/accounts/login/")
    page.locator("[name=login]").fill(email)
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()


def add_a_passkey(page: Page, name: str) -> list[str]:
    """The recovery codes that are shown with the first."""
    page.goto("/accounts/2fa/passkeys/new/")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Go on").click()
    page.get_by_label("What to call it").fill(name)
    page.get_by_role("button", name="Add it").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    return page.locator("ol code").all_inner_texts()


def sign_out(page: Page) -> None:
    page.goto("/accounts/logout/")
    page.get_by_role("button", name="Sign out").click()


def is_in(page: Page) -> bool:
    page.goto("/account")
    return bool(page.get_by_role("heading", name="Account", exact=True).count())


def test_a_passkey_is_added_asked_for_and_removed(opened: Open, story: Told) -> None:
    page = opened("/about")
    chrome, key = with_a_key(page)
    give_password(page, story.odile)
    codes = add_a_passkey(page, "Kitchen laptop")
    assert len(codes) == 10
    with page.expect_download() as kept:
        page.get_by_role("link", name="Keep them as a file").click()
    assert kept.value.suggested_filename == "recovery-codes.txt"
    assert codes == kept.value.path().read_text().splitlines()[1:]
    assert len(chrome.send("WebAuthn.getCredentials", {"authenticatorId": key})["credentials"]) == 1

    sign_out(page)
    give_password(page, story.odile)
    expect(page.get_by_role("heading", name="One more thing")).to_be_visible()
    assert not is_in(page)
    page.goto("/accounts/2fa/authenticate/")
    page.get_by_role("button", name="Use a passkey").click()
    page.wait_for_url("/")
    assert is_in(page)

    page.goto(story.grants)
    expect(page.get_by_role("heading", name="Is it you?")).to_be_visible()
    assert "/2fa/passkeys/reauthenticate/" in page.url, "the passkey first, where there is no app"
    page.get_by_role("button", name="Use a passkey").click()
    expect(page.get_by_role("heading", name="Give access")).to_be_visible()

    page.goto("/accounts/2fa/")
    expect(page.get_by_text("Kitchen laptop")).to_be_visible()
    page.get_by_role("link", name="Remove").click()
    page.get_by_role("button", name="Remove it").click()
    page.goto("/accounts/2fa/")
    expect(page.get_by_text("Off:")).to_be_visible()


def test_another_device_s_passkey_does_not_do(opened: Open, story: Told) -> None:
    page = opened("/about")
    with_a_key(page)
    give_password(page, story.greta)
    (code, *_) = add_a_passkey(page, "Mine")
    other = opened("/about")
    with_a_key(other)
    give_password(other, story.greta)
    other.get_by_role("button", name="Use a passkey").click()
    expect(other.get_by_role("alert")).to_contain_text("Nothing was used")
    assert not is_in(other)
    other.goto("/accounts/2fa/authenticate/")
    other.get_by_label("Code").fill(code)
    other.get_by_role("button", name="Sign in").click()
    other.wait_for_url("/")


def test_without_script_codes_do(opened: Open, story: Told) -> None:
    page = opened("/about", java_script_enabled=False)
    give_password(page, story.pim)
    expect(page.get_by_label("Code")).to_be_visible()
    expect(page.get_by_role("button", name="Use a passkey")).to_be_hidden()

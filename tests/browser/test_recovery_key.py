"""A recovery key made on a page, and typed on one when all devices are lost: it stays in the
browser."""

import re
from typing import Any

import httpx
import pytest
from django.core.cache import cache
from playwright.sync_api import Page, expect
from tests.browser.conftest import Open, Site
from tests.signing import Item, Phone, phone, rule
from tests.waiting import ENOUGH
from tests.world import PASSWORD

from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli.identity import fresh_id, moment_now
from scalewitness_cli.recovery import private_key, read, spelled


class Device:
    """Odile's phone, on which she ruled, as the server knows it."""

    def __init__(self, site: Site, made: Phone) -> None:
        self._key, self.email = made.key, made.device.keeper.email
        self._headers = {"Authorization": f"Bearer {made.token}"}
        self._base = f"{site.url}/api/v1/"

    def devices(self) -> Any:
        answer = httpx.get(f"{self._base}devices", headers=self._headers, timeout=ENOUGH)
        return answer.raise_for_status().json()

    def state(self, kind: str, body: Item) -> None:
        fact = {"id": fresh_id(), "kind": kind, "at": rfc3339(moment_now())}
        signed = self._key.signed(fact | {"about": self._key.keeper, "body": body})
        sent = {"json": {"items": [signed]}, "headers": self._headers, "timeout": ENOUGH}
        answer = httpx.post(f"{self._base}push", **sent)
        assert answer.raise_for_status().json()["items"][0]["status"] == "accepted"


@pytest.fixture(scope="module")
def story(site: Site) -> Device:
    cache.clear()
    made = phone(site.world, site.world.odile)
    assert made.send(rule(made)).status == "accepted"
    return Device(site, made)


@pytest.fixture
def page(opened: Open, story: Device) -> Page:
    found = opened("/accounts/login/?next=/account/recovery-key")
    found.get_by_label("Email").fill(story.email)
    found.get_by_label("Password", exact=True).fill(PASSWORD)
    found.get_by_role("button", name="Sign in").click()
    found.get_by_label("Password", exact=True).fill(PASSWORD)
    found.get_by_role("button", name="Go on").click()
    return found


def test_it_is_made_printed_typed_and_never_sent(page: Page, story: Device) -> None:
    sent = list[str]()
    page.on("request", lambda request: sent.append(f"{request.url} {request.post_data or ''}"))
    words = printed(page)
    key = enrolled(page, story, words)
    story.state("device_key_endorsed", key)
    page.get_by_role("link", name="All devices lost?").click()
    refuses_what_is_mistyped(page, words)
    assert story.devices()["signatures_required"]
    state(page, words.lower().replace(" ", "-"))
    expect(page.get_by_text("count in your name without a signature again.")).to_be_visible()
    assert not story.devices()["signatures_required"]
    assert len(sent) > 5
    plain = words.replace(" ", "")
    assert not [one for one in sent if plain[:10] in re.sub(r"[^0-9A-Z]", "", one.upper())]


def printed(page: Page) -> str:
    """The words of a key made there; the sheet is all that is on paper."""
    page.get_by_role("button", name="Make a recovery key").click()
    sheet = page.locator("[data-sheet]")
    expect(sheet).to_contain_text("Recovery key of Odile")
    words = page.locator("[data-words]").inner_text()
    public = private_key(read(words)).public_key().public_bytes_raw()
    expect(sheet).to_contain_text(fingerprint(public))
    page.emulate_media(media="print")
    expect(sheet).to_be_visible()
    expect(page.get_by_role("button", name="Print it")).to_be_hidden()
    page.emulate_media(media="screen")
    return words


def enrolled(page: Page, story: Device, words: str) -> Item:
    """As a device endorses it."""
    page.get_by_label("It is on paper").check()
    page.get_by_role("button", name="Enrol it").click()
    expect(page.get_by_text("The key is enrolled.")).to_be_visible()
    (one,) = [one for one in story.devices()["items"] if one["key"] and one["key"]["recovery"]]
    assert one["key"]["public"] == private_key(read(words)).public_key().public_bytes_raw().hex()
    expect(page.get_by_text(f"scalewitness endorse {one['id']}")).to_be_visible()
    return {"device": one["id"], "key": one["key"]["public"]}


def refuses_what_is_mistyped(page: Page, words: str) -> None:
    alert = page.locator("form[data-recovery=use] .refused")
    wrong = ("2" if words[0] != "2" else "3") + words[1:]
    another = spelled(bytes(20))
    for typed, why in (
        (wrong, "Group 1 of 8"),
        (words[:-2], "these are 38"),
        (another, "no recovery key of yours"),
    ):
        state(page, typed)
        expect(alert).to_contain_text(why)
        expect(alert).to_contain_text("Nothing was sent.")


def state(page: Page, typed: str) -> None:
    page.get_by_label("The key, as it stands on the sheet").fill(typed)
    wanted = page.get_by_label("What it is to do")
    lift = wanted.locator("option[data-kind=signatures_required]").inner_text()
    wanted.select_option(label=lift)
    page.get_by_role("button", name="State it").click()

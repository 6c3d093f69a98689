"""What the tests of the page about the log share: a receipt to check, and what the page shows."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import httpx
import pytest
from django.conf import settings
from django.utils import timezone
from playwright.sync_api import Page
from tests.api.client import fact
from tests.browser.conftest import Open, Site, session_of
from tests.world import probing

from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.receipts import Receipt, read_receipt

LOG = read_signer(settings.LOG_SIGNING_KEY)


@dataclass(frozen=True)
class Story:
    """A call by Odile on her animal, its receipt, and what to go on with."""

    call: dict[str, Any]
    receipt: bytes
    api: httpx.Client
    animal: str
    session: str

    @property
    def parts(self) -> Receipt:
        return read_receipt(self.receipt)

    def another_call(self) -> None:
        path = f"animals/{self.animal}/calls"
        self.api.post(path, json=fact(probing("male", "A-1"))).raise_for_status()


@pytest.fixture(scope="module")
def story(site: Site) -> Iterator[Story]:
    world = site.world
    world.now = timezone.now()
    animals = [world.animal(tag) for tag in ("A-1", "A-2", "A-3")]
    session = session_of(world.odile)
    with site.api(world.odile) as api:
        said = fact(probing("female", "A-1"))
        answer = api.post(f"animals/{animals[0].pk}/calls", json=said).raise_for_status().json()
        receipt = api.get(f"receipts/{said['id']}").raise_for_status().content
        yield Story({**said, **answer}, receipt, api, str(animals[0].pk), session)


@pytest.fixture
def page(opened: Open) -> Page:
    return opened("/log")


def choose(page: Page, data: bytes, name: str = "scalewitness.receipt") -> None:
    file = {"name": name, "mimeType": "text/plain", "buffer": data}
    page.get_by_label("Receipt", exact=True).set_input_files(file)  # type: ignore[arg-type]


def verdict(page: Page) -> Any:
    """What is read out."""
    return page.locator("[data-check] > [role=status]")


def row(page: Page, label: str) -> Any:
    terms = page.locator(".facts > div").filter(has=page.get_by_text(label, exact=True))
    return terms.first.locator("dd")


def ask(page: Page) -> Any:
    page.get_by_role("button", name="Ask the log now").click()
    return page.locator("[data-found] [role=status]")

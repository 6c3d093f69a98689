"""The interactive description of the API, in a real browser: it shows and works under the content
policy of every page. `opened` lets no breach of the policy pass."""

from collections.abc import Callable

import pytest
from django.test import Client
from playwright.sync_api import Locator, Page, expect

pytestmark = pytest.mark.one_in(2)

Open = Callable[..., Page]


def unfolded(page: Page, operation: str) -> Locator:
    page.locator(f"#operations-tag-{operation.partition('-')[0]}").get_by_role("button").click()
    found = page.locator(f"#operations-{operation}")
    expect(found).to_be_visible()
    found.get_by_role("button").first.click()
    return found


def test_the_docs_show_open_and_send_under_the_policy(opened: Open) -> None:
    page = opened("/api/v1/docs", expected="401 (Unauthorized)")
    expect(page.get_by_role("heading", name="Scalewitness")).to_be_visible()
    species = unfolded(page, "species-list_species")
    species.get_by_role("button", name="Try it out").click()
    species.get_by_role("button", name="Execute").click()
    expect(species.locator(".live-responses-table tbody td").first).to_contain_text("401")
    push = unfolded(page, "push-push")
    expect(push.locator(".opblock-section-request-body")).to_be_visible()
    push.get_by_role("button", name="Try it out").click()
    expect(push.locator("textarea").first).to_be_visible()
    page.get_by_role("button", name="Authorize").first.click()
    expect(page.locator(".dialog-ux .modal-ux")).to_be_visible()


def test_their_policy_is_that_of_the_other_pages(db: None) -> None:
    ours = Client().get("/api/v1/docs").headers["Content-Security-Policy"]
    assert ours == Client().get("/about").headers["Content-Security-Policy"]
    assert "unsafe" not in ours

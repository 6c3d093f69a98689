"""What one reader's page saw is carried on to the next, and told apart where they are shown two
logs; an old state is a sentence."""

import re
from dataclasses import dataclass
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import override_settings
from django.utils import timezone
from playwright.sync_api import expect
from tests.api.test_receipts import token
from tests.browser.conftest import Open, Site

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.carried import carried as carried_by_letter
from scalewitness.domain.translog.checkpoints import Checkpoint, read_body
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.notes import Note, read_note, signed
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = pytest.mark.one_in(3)

LOG = read_signer(settings.LOG_SIGNING_KEY)


@dataclass(frozen=True)
class Told:
    offer: str
    note: Note


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    sale = site.world.draft(site.world.verified("C-1"))
    site.world.offer(sale)
    note = sign_checkpoint(timezone.now()).note
    return Told(f"/offers/{token(sale, 'offer')}", read_note(note))


def link(note: Note) -> str:
    """As a page makes it, written a second time."""
    _, size, root = note.text.splitlines()
    (line,) = note.lines
    parts = (root, encode64(line.key_id + line.signature))
    coded = (one.replace("+", "-").replace("/", "_").rstrip("=") for one in parts)
    return f"/log#seen={'.'.join([size, *coded])}"


def test_the_next_reader_compares_what_the_first_saw(opened: Open, story: Told, site: Site) -> None:
    shown = opened(story.offer)
    shown.locator("[data-prove] summary").click()
    carried = shown.get_by_role("link", name="this link").get_attribute("href")
    assert carried == site.url + link(story.note)
    assert carried == f"{site.url}/log{carried_by_letter(story.note)}"
    other = opened(carried)
    expect(other.locator("#carried")).to_contain_text("You are both shown the same log")
    cut = opened(carried[:-9])
    expect(cut.locator("#carried")).to_contain_text("The link you were sent cannot be read")


def test_who_is_shown_another_log_is_told(opened: Open, story: Told) -> None:
    """As a server that forks would: both states are signed by the log's own key."""
    head = read_body(story.note.text)
    for other in (
        Checkpoint(head.origin, head.size, bytes(32)),
        Checkpoint(head.origin, head.size - 2, bytes(32)),
        Checkpoint(head.origin, head.size + 7, bytes(32)),
    ):
        note = signed(other.body(), LOG)
        page = opened("/about")
        with page.expect_response("**/log/met") as brought:
            page.goto(link(note))
            expect(page.locator("#carried.refused")).to_contain_text("another log than whoever")
        assert brought.value.status == 200


def test_an_old_state_is_said_in_words_and_no_alarm(opened: Open, story: Told) -> None:
    shown = opened(story.offer)
    checked = "Checked by this page: complete and unaltered"
    expect(shown.locator("[data-prove]")).to_contain_text(checked)
    assert shown.locator("[data-prove] > p").count() == 0
    for days, said in ((3, r"is [23] days old by this device’s clock"), (-3, "ahead of")):
        shown.clock.set_fixed_time(timezone.now() + timedelta(days=days))
        shown.reload()
        expect(shown.locator("[data-prove]")).to_contain_text(checked)
        expect(shown.locator("[data-prove] > p")).to_have_text(re.compile(said))
        assert shown.locator(".alarm").count() == 0
    shown.clock.set_fixed_time(timezone.now() + timedelta(days=3))
    with override_settings(LOG_SIGNS_WITHIN=400_000):
        shown.reload()
        expect(shown.locator("[data-prove]")).to_contain_text(checked)
        assert shown.locator("[data-prove] > p").count() == 0

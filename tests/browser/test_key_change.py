"""A page follows the log from key to key where both signed, and refuses any other: the module
beside the command's, and on the buyer's page."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import pytest
from django.conf import settings
from django.db import connection
from django.test import override_settings
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect
from tests.api.test_receipts import token
from tests.browser.conftest import Open, Site, opening
from tests.browser.test_checking_modules import each
from tests.cli.test_key_change import KEYS, NEW, SIGNER, THIEF, given_over

from scalewitness.domain.translog.key_changes import changes_from
from scalewitness.domain.translog.keys import KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import Note
from scalewitness.ledger.services.signing import give_over, sign_checkpoint

pytestmark = pytest.mark.one_in(2)

LOG = read_signer(settings.LOG_SIGNING_KEY)
NEXT, OTHER = (Signer(LOG.name, KeyType.ED25519, bytes([n] * 32)) for n in (6, 7))


@pytest.fixture(scope="module")
def blank(chromium: Browser, site: Site) -> Iterator[Page]:
    with opening(chromium, site) as open_page:
        yield open_page("/about")


@dataclass(frozen=True)
class Told:
    offer: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    sale = site.world.draft(site.world.verified("K-1"))
    site.world.offer(sale)
    sign_checkpoint(timezone.now())
    return Told(f"/offers/{token(sale, 'offer')}")


def meanwhile(work: Callable[[], object]) -> None:
    """At the server, in a thread without an event loop."""

    def done() -> None:
        work()
        connection.close()

    with ThreadPoolExecutor(1) as pool:
        pool.submit(done).result()


def one_line(note: Note, at: int) -> Note:
    return Note(note.text, note.lines[at : at + 1])


CASES = {
    "signed by both": [given_over(6)],
    "one after the other": [given_over(8, NEW, THIEF), given_over(6)],
    "by the old key alone": [one_line(given_over(6), 0)],
    "by the new key alone": [one_line(given_over(6), 1)],
    "from a key that nobody trusts": [given_over(6, THIEF, NEW)],
    "to the same key": [given_over(6, SIGNER, SIGNER)],
    "a line added": [given_over(6).with_lines(given_over(6, SIGNER, THIEF).lines)],
    "to the key of another log": [
        given_over(6, SIGNER, Signer("else.example/log", KeyType.ED25519, bytes([8] * 32)))
    ],
    "no change": [],
}


def test_the_module_follows_what_the_command_follows(blank: Page) -> None:
    items = [
        {"key": str(SIGNER.verifier), "notes": list(map(str, notes))} for notes in CASES.values()
    ]
    found = each(
        blank,
        """const { changesFrom } = await import("/static/checking/key_changes.js");
        const changes = await changesFrom(await keys.readVerifier(item.key), item.notes);
        return changes.map(({ key }) => key.text);""",
        items,
    )
    theirs = [
        [str(change.new) for change in changes_from(KEYS, map(str, notes))]
        for notes in CASES.values()
    ]
    assert dict(zip(CASES, found, strict=True)) == dict(zip(CASES, theirs, strict=True))
    assert list(map(len, theirs)) == [1, 2, 0, 0, 0, 0, 0, 0, 0]


LINE = "Checked by this page: complete and unaltered as of position"


def test_a_buyers_page_follows_and_refuses_an_impostor(
    opened: Open, story: Told, site: Site
) -> None:
    shown = opened(story.offer)
    expect(shown.locator("[data-prove] summary")).to_contain_text(LINE)

    with override_settings(LOG_SIGNING_KEY=OTHER.secret(), LOG_RETIRED_KEYS=[str(LOG.verifier)]):
        shown.reload()
        expect(shown.get_by_role("alert")).to_contain_text(
            "signed with another key than when last looked at here"
        )

    with override_settings(LOG_NEXT_KEY=NEXT.secret()):
        meanwhile(lambda: give_over(timezone.now()))
        meanwhile(lambda: site.world.animal("K-3"))
        shown.reload()  # under the new key alone
        expect(shown.locator("[data-prove] summary")).to_contain_text(LINE)
        shown.locator("[data-prove] summary").click()
        expect(shown.locator("[data-prove]")).to_contain_text("The log continues what this")

    with override_settings(LOG_SIGNING_KEY=OTHER.secret(), LOG_RETIRED_KEYS=[str(LOG.verifier)]):
        shown.reload()
        expect(shown.get_by_role("alert")).to_contain_text("the key before does not vouch")

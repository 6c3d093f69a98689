"""The page about the log for every reader: without script, in a browser that cannot check, by
keyboard alone, on a narrow screen, by day and night."""

import pytest
from playwright.sync_api import Page, expect
from tests.browser.conftest import Open
from tests.browser.log_page.conftest import LOG, Story, ask, choose, row, verdict

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.domain.translog.notes import signed
from scalewitness.domain.translog.receipts import Receipt
from scalewitness.domain.translog.tree import leaf_hash

pytestmark = pytest.mark.one_in(4)


def test_without_javascript_the_page_reads_and_says_what_to_do(opened: Open) -> None:
    page = opened("/log", java_script_enabled=False)
    expect(page.get_by_text("Checking here needs JavaScript")).to_be_visible()
    expect(page.get_by_label("Receipt", exact=True)).to_be_hidden()
    expect(page.get_by_text("What it guarantees")).to_be_visible()
    expect(page.get_by_role("img", name="How one entry is tied")).to_be_visible()


@pytest.mark.parametrize(
    ("lacking", "said"),
    [
        ("delete Crypto.prototype.subtle", "only to pages that came over https"),
        (
            "SubtleCrypto.prototype.importKey = async () => {"
            " throw new DOMException('', 'NotSupportedError') }",
            "does not know the kind of signature used here (Ed25519)",
        ),
        ("SubtleCrypto.prototype.verify = async () => true", "failed a published example"),
    ],
)
def test_a_browser_that_cannot_check_says_so(opened: Open, lacking: str, said: str) -> None:
    page = opened("/log")
    page.add_init_script(lacking)
    page.reload()
    expect(verdict(page)).to_contain_text(said)
    expect(verdict(page)).to_contain_text("Nothing was checked.")
    expect(page.get_by_label("Receipt", exact=True)).to_be_hidden()


def test_it_can_be_worked_by_keyboard_alone(page: Page, story: Story) -> None:
    reached = []
    for _ in range(10):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
    assert [one for one in reached if one] == ["receipt-file", "keys"]
    for region in page.locator("[data-check] [role=status]").all():
        expect(region).to_have_attribute("aria-live", "polite")
    choose(page, story.receipt)
    summary = page.get_by_text("All that the entry holds")
    summary.focus()
    page.keyboard.press("Enter")
    expect(row(page, "observed, method")).to_have_text("probing")


def test_narrow_screens_scroll_one_way_only(opened: Open, story: Story) -> None:
    narrow = {"width": 320, "height": 640}
    page = opened("/log", viewport=narrow)
    choose(page, story.receipt)
    page.get_by_text("All that the entry holds").click()
    expect(ask(page)).to_contain_text("The log has only grown.")
    wide = "document.documentElement.scrollWidth"
    assert page.evaluate(wide) == 320
    own = opened(f"/receipts/{story.call['id']}", session=story.session, viewport=narrow)
    own.get_by_role("button", name="Check it now").click()
    expect(verdict(own)).to_contain_text("It holds.")
    assert own.evaluate(wide) == 320


CONTRAST = """(selector) => {
  const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = (text) => {
    const [r, g, b] = numbers(text).slice(0, 3).map((one) => one / 255)
      .map((one) => (one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const behind = (element) => {
    const colour = getComputedStyle(element).backgroundColor;
    return numbers(colour)[3] === 0 ? behind(element.parentElement) : colour;
  };
  return [...document.querySelectorAll(selector)].map((element) => {
    const ink = getComputedStyle(element)[element.closest("svg") ? "fill" : "color"];
    const [a, b] = [light(ink), light(behind(element.closest("svg") ?? element))];
    return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  });
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_by_day_and_night(opened: Open, story: Story, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: at least 4.5 to 1."""
    page = opened("/log", color_scheme=scheme)
    foreign = story.receipt.replace(b"testserver/log\n", b"x\n")
    for data, said in ((story.receipt, "It holds"), (b"", "does not hold"), (foreign, "cannot be")):
        choose(page, data)
        expect(verdict(page)).to_contain_text(said)
        found = page.evaluate(CONTRAST, "main :is(p, li, dt, dd, label, summary, a, button, text)")
        assert len(found) > 20
        assert min(found) >= 4.5


def test_what_an_entry_says_is_never_markup(page: Page) -> None:
    """Also what no honest log holds: its key signs here whatever the test likes."""
    hostile = "<img src=x onerror=alert(1)>"
    entry = leaf_bytes(
        kind="offer_made",
        id=hostile,
        by=hostile,
        device=None,
        at=hostile,
        about=None,
        body={"represents": hostile, hostile: [hostile, {"__proto__": None}]},
        sig=None,
    )
    note = signed(Checkpoint(LOG.name, 1, leaf_hash(entry)).body(), LOG)
    choose(page, str(Receipt(entry, 0, (), note)).encode())
    expect(verdict(page)).to_contain_text("It holds.")
    expect(row(page, "Stated by")).to_have_text(hostile)
    page.get_by_text("All that the entry holds").click()
    expect(row(page, f"{hostile}, 1")).to_have_text(hostile)
    expect(page.locator("[data-found] img")).to_have_count(0)

"""The check of receipts on the page about the log, and on a receipt's own page, in a real browser.

Receipts come from the API. What they show is held against the server's own reading of the same
bytes, which `tests/domain/translog` holds against the C2SP documents and RFC 9162.
"""

import json
import re
from base64 import b64encode

import pytest
from django.conf import LazySettings
from playwright.sync_api import Page, Route, expect
from tests.browser.conftest import Open
from tests.browser.log_page.conftest import LOG, Story, ask, choose, row, verdict

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import Note, signature_line, signed
from scalewitness.domain.translog.receipts import Receipt, prove
from scalewitness.domain.translog.tree import leaf_hash

pytestmark = pytest.mark.one_in(4)

KEY = str(LOG.verifier)
OTHER = Signer(LOG.name, KeyType.ED25519, bytes(range(1, 33)))
EARLIER = Signer("earlier.example/log", KeyType.ED25519, bytes(range(3, 35)))
WITNESS = Signer("witness.example/1", KeyType.COSIGNATURE, bytes(range(2, 34)))


# --- it holds


def test_a_receipt_from_the_api_holds(page: Page, story: Story) -> None:
    choose(page, story.receipt)
    proven = prove(story.parts, LOG.verifier)
    expect(verdict(page)).to_have_text(
        f"It holds. This entry stood at position {proven.position} of the log {LOG.name} when "
        f"the log, at {proven.checkpoint.size} entries, was signed."
    )
    assert proven.position == story.call["position"] > 3
    expect(row(page, "Entry")).to_have_text("Call made")
    expect(row(page, "Conclusion")).to_have_text("female")
    expect(row(page, "Stated by")).to_have_text(str(proven.entry.by))
    expect(row(page, "About")).to_have_text(story.animal)
    expect(row(page, "Key used")).to_have_text(KEY)
    expect(row(page, "Time claimed")).to_have_text(re.compile(r"^\d+ \w+ 20\d\d, \d\d:\d\d UTC$"))
    page.get_by_text("All that the entry holds").click()
    expect(row(page, "observed, passes, 2, depth")).to_have_text("2.5")
    limits = page.locator("[data-found]")
    expect(limits).to_contain_text("it came from this very site")
    expect(limits).to_contain_text("no witness whose key you gave has signed it too")


def test_it_holds_when_dropped_and_without_a_network(page: Page, story: Story) -> None:
    page.wait_for_load_state("networkidle")  # the icon comes last
    page.context.set_offline(True)
    dropped = page.evaluate_handle(
        """(text) => { const held = new DataTransfer();
          held.items.add(new File([text], "x.receipt")); return held; }""",
        story.receipt.decode(),
    )
    page.dispatch_event("h1", "dragover", {"dataTransfer": dropped})
    expect(page.locator("form.drop")).to_have_class("drop over")
    page.dispatch_event("h1", "drop", {"dataTransfer": dropped})
    expect(verdict(page)).to_contain_text("It holds.")
    assert page.input_value("#receipt-file").endswith("x.receipt")
    expect(page.locator("form.drop")).to_have_class("drop")


def test_a_key_from_elsewhere_proves_more(page: Page, story: Story) -> None:
    page.get_by_label("Keys you got elsewhere").fill(f"# from Greta's letter\n{KEY}\n")
    choose(page, story.receipt)
    expect(verdict(page)).to_contain_text("It holds.")
    expect(page.locator("[data-found]")).not_to_contain_text("this very site")


def test_a_receipt_of_a_closed_log_holds_and_is_not_asked_after(
    opened: Open, story: Story, settings: LazySettings
) -> None:
    settings.LOG_RETIRED_KEYS = [str(EARLIER.verifier)]
    page, entry = opened("/log"), story.parts.entry
    tree = Checkpoint(EARLIER.name, 1, leaf_hash(entry))
    choose(page, str(Receipt(entry, 0, (), signed(tree.body(), EARLIER))).encode())
    expect(verdict(page)).to_contain_text(
        f"It holds. This entry stood at position 0 of the log {EARLIER.name}"
    )
    expect(page.locator("[data-found]")).to_contain_text("its log was closed, as entries were lost")
    expect(page.get_by_role("button", name="Ask the log now")).to_have_count(0)


def test_cosignatures_count_where_their_key_was_given(page: Page, story: Story) -> None:
    parts = story.parts
    line = signature_line(parts.checkpoint.text, WITNESS, 1_764_000_000)
    seen = Receipt(parts.entry, parts.position, parts.proof, parts.checkpoint.with_lines([line]))
    choose(page, str(seen).encode())
    found = page.locator("[data-found]")
    expect(found).to_contain_text("1 other signature, by keys you have not given")
    page.get_by_label("Keys you got elsewhere").fill(str(WITNESS.verifier))
    page.keyboard.press("Tab")  # a change of the keys checks again
    expect(found).to_contain_text("1 of the witnesses you trust signed the same state")
    expect(row(page, "Also signed")).to_have_text("witness.example/1, 24 November 2025, 16:00 UTC")


# --- it does not


def swapped(text: bytes, where: int) -> bytes:
    """One letter of base64 exchanged for another."""
    letter = b"A" if text[where : where + 1] != b"A" else b"B"
    return text[:where] + letter + text[where + 1 :]


def damaged(receipt: bytes) -> dict[str, tuple[bytes, str]]:
    """Every kind of damage, and the reason that is to be given."""
    head, note = receipt.split(b"\n\n", 1)
    first, extra, index, hash_, *hashes = head.split(b"\n")
    origin, size, root, blank, line = note.rstrip(b"\n").split(b"\n")
    position = int(index.removeprefix(b"index "))
    signature = b" ".join(line.split(b" ")[:2]) + b" "

    def with_head(*lines: bytes) -> bytes:
        return b"\n".join(lines) + b"\n\n" + note

    def with_note(*lines: bytes) -> bytes:
        return head + b"\n\n" + b"\n".join(lines) + b"\n"

    unlike = "it, its position or its proof was altered"
    forged = f"The checkpoint cannot be relied on: the signature of {LOG.name} does not hold"
    unknown = "The checkpoint cannot be relied on: no trusted key vouches for it"
    return {
        "entry": (with_head(first, swapped(extra, 60), index, hash_, *hashes), unlike),
        "proof": (with_head(first, extra, index, swapped(hash_, 5), *hashes), unlike),
        "proof, shorter": (with_head(first, extra, index, *hashes), unlike),
        "proof, longer": (with_head(first, extra, index, hash_, hash_, *hashes), unlike),
        "proof, out of order": (with_head(first, extra, index, *hashes, hash_), unlike),
        "hash, cut": (with_head(first, extra, index, hash_[:40], *hashes), "in its proof"),
        "index": (with_head(first, extra, b"index %d" % (position - 1), hash_, *hashes), unlike),
        "index, too large": (with_head(first, extra, b"index 18446744073709551615", hash_), unlike),
        "index, spelled": (
            with_head(first, extra, b"index 0%d" % position, hash_, *hashes),
            "in its position: not a decimal number of 64 bits",
        ),
        "size": (with_note(origin, b"1" + size, root, blank, line), forged),
        "size, no number": (with_note(origin, b"x", root, blank, line), "in its checkpoint"),
        "root": (with_note(origin, size, swapped(root, 3), blank, line), forged),
        "signature": (
            with_note(origin, size, root, blank, swapped(line, len(signature) + 20)),
            forged,
        ),
        "key ID": (with_note(origin, size, root, blank, swapped(line, len(signature))), unknown),
        "no signature": (with_note(origin, size, root, blank), "in its checkpoint"),
        "cut in the entry": (receipt[:90], "breaks off early"),
        "cut in the checkpoint": (receipt[: len(head) + 20], "in its checkpoint"),
        "cut by its last letter": (receipt[:-1], "in its checkpoint"),
        "an empty file": (b"", "it does not begin as one"),
        "some other text": (b"Dear buyer,\n\nhere is your snake.\n", "it does not begin as one"),
        "a picture": (b"\x89PNG\r\n\x1a\n\xff", "not text, so it is no receipt"),
        "far too long": (receipt + b"x" * 300_000, "far too long for a receipt"),
    }


def test_every_kind_of_damage_is_refused_with_its_reason(page: Page, story: Story) -> None:
    for kind, (data, reason) in damaged(story.receipt).items():
        choose(page, data, name=f"{kind}.receipt")
        expect(verdict(page), kind).to_contain_text(reason)
        expect(verdict(page), kind).to_contain_text("It does not hold.")
        expect(page.locator("[data-found]"), kind).to_be_empty()
    choose(page, story.receipt)
    expect(verdict(page)).to_contain_text("It holds.")


def test_no_byte_can_be_changed(page: Page, story: Story) -> None:
    """As `tests/domain/translog/test_receipts.py` demands it of the server's reader."""
    held = page.evaluate(
        """async ([text, key]) => {
          const { judge } = await import("/static/checking/receipt.js");
          const { readKeys } = await import("/static/checking/keys.js");
          const [keys, bytes] = [await readKeys(key), new TextEncoder().encode(text)];
          const found = [(await judge(bytes, keys, [])).holds];
          for (let at = 0; at < bytes.length; at += 1) {
            bytes[at] ^= 1 + (at % 255);
            found.push((await judge(bytes, keys, [])).holds);
            bytes[at] ^= 1 + (at % 255);
          }
          return found;
        }""",
        [story.receipt.decode(), KEY],
    )
    assert len(held) == len(story.receipt) + 1
    assert [at for at, holds in enumerate(held) if holds] == [0]


def test_another_key_of_the_same_name_is_refused(page: Page, story: Story) -> None:
    page.get_by_label("Keys you got elsewhere").fill(str(OTHER.verifier))
    choose(page, story.receipt)
    expect(verdict(page)).to_contain_text("no trusted key vouches for it")


def test_what_cannot_be_judged_says_what_is_missing(page: Page, story: Story) -> None:
    choose(page, story.receipt.replace(b"testserver/log\n", b"elsewhere/log\n"))
    expect(verdict(page)).to_contain_text("It cannot be judged. It says it is from the log “else")
    page.get_by_label("Keys you got elsewhere").fill(f"{KEY}\n{KEY[:-4]}")
    choose(page, story.receipt)
    expect(verdict(page)).to_contain_text("It cannot be judged. Of the keys you gave, line 2 is no")


# --- the second step


def test_the_log_still_continues_what_was_signed(page: Page, story: Story) -> None:
    choose(page, story.receipt)
    size = prove(story.parts, LOG.verifier).checkpoint.size
    expect(ask(page)).to_contain_text(f"The log has only grown. The log, now at {size} entries")
    story.another_call()
    latest = story.api.get("receipts/" + story.call["id"])  # whatever it is, it stays good
    choose(page, latest.content)
    expect(ask(page)).to_contain_text("The log has only grown.")


def answering(page: Page, path: str, body: str) -> None:
    def answer(route: Route) -> None:
        route.fulfill(status=200, body=body)

    page.route(f"**{path}*", answer)


def consistency(*proof: bytes) -> str:
    return json.dumps({"proof": [b64encode(one).decode() for one in proof]})


def test_a_log_that_does_not_continue_it_is_shown_up(page: Page, story: Story) -> None:
    size = prove(story.parts, LOG.verifier).checkpoint.size
    choose(page, story.receipt)
    rewritten = str(signed(Checkpoint(LOG.name, size, bytes(32)).body(), LOG))
    answering(page, "/log/checkpoint", rewritten)
    answering(page, "/log/consistency", consistency())
    told = ask(page)
    expect(told).to_contain_text("The log does not bear the receipt out.")
    expect(told.locator("code")).to_have_text(rewritten)
    shortened = str(signed(Checkpoint(LOG.name, size - 1, bytes(32)).body(), LOG))
    answering(page, "/log/checkpoint", shortened)
    expect(ask(page)).to_contain_text(f"now shows {size - 1} entries, fewer than the {size}")
    answering(
        page, "/log/checkpoint", str(signed(Checkpoint(LOG.name, size, bytes(32)).body(), OTHER))
    )
    expect(ask(page)).to_contain_text("What the log answered cannot be relied on")


def test_no_answer_is_no_verdict(opened: Open, story: Story) -> None:
    page = opened("/log", expected="Failed to load resource")
    choose(page, story.receipt)
    page.route("**/log/checkpoint", lambda route: route.fulfill(status=503))
    expect(ask(page)).to_contain_text("It could not be asked. This service gave no answer")
    page.unroute("**/log/checkpoint")
    page.context.set_offline(True)
    expect(ask(page)).to_contain_text("There was no connection to this service")


def test_another_log_cannot_be_asked_from_here(page: Page, story: Story) -> None:
    foreign = Signer("elsewhere.example/log", KeyType.ED25519, bytes(range(3, 35)))
    parts = story.parts
    head = prove(parts, LOG.verifier).checkpoint
    body = Checkpoint(foreign.name, head.size, head.root).body()
    note = Note(body, (signature_line(body, foreign),))
    page.get_by_label("Keys you got elsewhere").fill(str(foreign.verifier))
    choose(page, str(Receipt(parts.entry, parts.position, parts.proof, note)).encode())
    expect(verdict(page)).to_contain_text("It holds.")
    expect(page.locator("[data-found]")).to_contain_text("of another log than the one kept here")


# --- a receipt's own page


def test_a_receipts_own_page_checks_it_with_one_button(opened: Open, story: Story) -> None:
    page = opened(f"/receipts/{story.call['id']}", session=story.session)
    button = page.get_by_role("button", name="Check it now")
    button.focus()
    page.keyboard.press("Enter")
    expect(verdict(page)).to_contain_text(
        f"It holds. This entry stood at position {story.call['position']}"
    )
    expect(button).to_be_focused()
    expect(ask(page)).to_contain_text("The log has only grown.")
    page.context.clear_cookies()
    button.click()
    expect(verdict(page)).to_contain_text("You are signed out.")

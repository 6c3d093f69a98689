"""A reader's own browser proves what a page shows, and names what somebody altered at the server:
on the buyer's page and on the animal's."""

import json
import re
from pathlib import Path

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from click.testing import CliRunner, Result
from django.conf import settings
from playwright.sync_api import Page, Route, expect
from tests.api.client import fact
from tests.browser.altering import Told, altered, tell
from tests.browser.conftest import Open, Site
from tests.world import probing

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import signed
from scalewitness_cli.main import cli

pytestmark = pytest.mark.one_in(2)

LOG = read_signer(settings.LOG_SIGNING_KEY)


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    return tell(site.world, late=True)


ALTERED_ROWS = {
    "another depth in the call's row",
    "another conclusion in the call's row",
    "a call's row taken out",
    "a withdrawal taken out",
    "the standing's row",
    "the last standing's row taken out",
    "a photo's row",
    "a late check taken out",
    "the sender of a late check",
    "when a late check came",
    "a refusal turned round",
    "the offer's row",
    "a code's row",
    "what the record knew of a call",
    "what a note says",
}
"""Where the log itself is as it was."""
BROKEN = "does not continue what it signed"
"""The server sees for itself that its log is not what it signed, and gives out no proof."""
ALTERATIONS = {
    "another depth in the call's row": (
        "UPDATE calls_call SET body = jsonb_set(body, '{observed,passes,0,depth}', '\"1.5\"') "
        "WHERE THE_CALL",
        "depth is shown as “1.5”, its entry says “9",
    ),
    "another conclusion in the call's row": (
        "UPDATE calls_call SET conclusion = 'female' WHERE THE_CALL",
        "conclusion is shown as “female”, its entry says “male”",
    ),
    "another sender in the call's row": (
        "UPDATE calls_call SET by = OTHER WHERE THE_CALL",
        "by is shown as",
    ),
    "another leaf": (
        "UPDATE ledger_entry SET leaf = OTHER_LEAF WHERE THE_CALL",
        "its entry says “fema”",
    ),
    "another leaf and its hash": (
        "UPDATE ledger_entry SET leaf = OTHER_LEAF, "
        "leaf_hash = sha256('\\x00'::bytea || OTHER_LEAF) WHERE THE_CALL",
        f"its entry says “fema”|{BROKEN}",
    ),
    "a call's row and its entry taken out": (
        "DELETE FROM ledger_entry WHERE THE_CALL; DELETE FROM calls_call WHERE THE_CALL",
        BROKEN,
    ),
    "a call's row taken out": (
        "DELETE FROM calls_call WHERE THE_CALL",
        r"a call \(probing: male\) at position",
    ),
    "a call's row taken out, its entry named otherwise": (
        "UPDATE ledger_entry SET kind = 'founder_named' WHERE THE_CALL; "
        "DELETE FROM calls_call WHERE THE_CALL",
        r"a call \(probing: male\) at position",
    ),
    "a call's entry put under another animal": (
        "UPDATE ledger_entry SET about = OTHER WHERE THE_CALL",
        "an entry was kept back or added",
    ),
    "a withdrawal taken out": (
        "DELETE FROM calls_withdrawal",
        "and not shown so",
    ),
    "the standing's row": (
        "UPDATE calls_standing SET label = 'verified female' WHERE animal_id = ANIMAL",
        "label is shown as “verified female”, its entry says “verified male”",
    ),
    "the last standing's row taken out": (
        "DELETE FROM calls_standing WHERE position = "
        "(SELECT max(position) FROM calls_standing WHERE animal_id = ANIMAL)",
        "and that is not shown",
    ),
    "the map's nodes": (
        "UPDATE ledger_mapnode SET hash = sha256(hash)",
        "the entries are not those that the log states",
    ),
    "its chain in the map": (
        "UPDATE ledger_mapsubject SET chain = sha256(chain)",
        "the entries are not those that the log states",
    ),
    "its count in the map": (
        "UPDATE ledger_mapsubject SET count = count - 1",
        "an entry was kept back or added",
    ),
    "two entries in another order": (
        "CREATE TEMPORARY TABLE two AS SELECT position FROM ledger_entry WHERE about = ANIMAL "
        "AND kind = 'call_made' ORDER BY position LIMIT 2; "
        "UPDATE ledger_entry SET position = -1 WHERE position = (SELECT min(position) FROM two); "
        "UPDATE ledger_entry SET position = (SELECT min(position) FROM two) "
        "WHERE position = (SELECT max(position) FROM two); "
        "UPDATE ledger_entry SET position = (SELECT max(position) FROM two) WHERE position = -1",
        "position",
    ),
    "a late check taken out": (
        "DELETE FROM calls_seal WHERE WAITS; DELETE FROM calls_heldcall WHERE NOT DECIDED",
        "a late check at position",
    ),
    "the sender of a late check": (
        "UPDATE calls_heldcall SET by = OTHER WHERE NOT DECIDED",
        "same visit as|is not shown",
    ),
    "when a late check came": (
        "UPDATE calls_heldcall SET received_at = received_at - interval '1 day' WHERE NOT DECIDED",
        "at is shown as",
    ),
    "a refusal turned round": (
        "UPDATE calls_helddecision SET admitted = true",
        "admitted is shown as “true”, its entry says “false”",
    ),
    "a photo's row": (
        "UPDATE animals_photo SET sha256 = repeat('0', 64)",
        "sha256 is shown as",
    ),
    "a photo": (
        "UPDATE animals_photofile SET data = data || '\\x00'::bytea",
        "the picture is not the one that was recorded",
    ),
}
OF_THE_SALE = {
    "the offer's row": (
        "UPDATE sales_salestep SET body = jsonb_set(body, '{remedy}', '\"none\"')",
        "remedy is shown as “none”",
    ),
    "the standing that was offered on": (
        "UPDATE sales_salestep SET body = jsonb_set(body, '{represents,0,label}', "
        "'\"verified female\"')",
        "label is shown as “verified female”",
    ),
}
OF_THE_ANIMAL = {
    "a code's row": (
        "UPDATE animals_identifier SET code = 'R-9' WHERE animal_id = ANIMAL",
        "codes is shown as “tag R-9”, its entries say “tag R-1”",
    ),
    "what a note says": (
        "UPDATE ledger_text SET text = text || '!' WHERE field = 'note'",
        "the note shown is not the one that its entry commits to",
    ),
    "what the record knew of a call": (
        "UPDATE calls_call SET blind = NOT blind WHERE THE_CALL",
        "blind is shown as",
    ),
}
CASES = [
    *(("offer", what) for what in ALTERATIONS | OF_THE_SALE),
    *(("animal", what) for what in ALTERATIONS | OF_THE_ANIMAL),
]
QUIET = "Checked by this page: complete and unaltered as of position"


def looked(opened: Open, story: Told, page: str, **options: object) -> Page:
    session = story.session if page == "animal" else ""
    return opened(story.path(page), session=session, **options)


@pytest.mark.parametrize("page", ["offer", "animal"])
def test_what_nobody_altered_gets_one_quiet_line(opened: Open, story: Told, page: str) -> None:
    shown = looked(opened, story, page)
    expect(shown.locator("[data-prove] summary")).to_contain_text(QUIET)
    assert shown.locator(".alarm").count() == 0
    shown.reload()
    shown.locator("[data-prove] summary").click()
    expect(shown.locator("[data-prove]")).to_contain_text("The log continues what this browser saw")


@pytest.mark.parametrize(("page", "what"), CASES)
@pytest.mark.some(4)
def test_the_alarm_names_what_was_altered(opened: Open, story: Told, page: str, what: str) -> None:
    statement, told = (ALTERATIONS | OF_THE_SALE | OF_THE_ANIMAL)[what]
    with altered(story, statement):
        shown = looked(opened, story, page, expected="503")
        alarm = shown.get_by_role("alert")
        expect(alarm).to_contain_text("What this page shows is not what the log holds")
        expect(alarm).to_contain_text(re.compile(told))
        expect(alarm).to_be_focused()
        expect(alarm.get_by_role("button")).to_have_text(["Save record and proof"])
    shown.reload()
    expect(shown.locator("[data-prove] summary")).to_contain_text(QUIET)


# --- what the reader can do about it


@pytest.mark.parametrize("page", ["offer", "animal"])
def test_what_is_saved_is_checked_by_the_command(
    opened: Open, story: Told, page: str, tmp_path: Path
) -> None:
    shown = looked(opened, story, page)
    shown.locator("[data-prove] summary").click()
    kept = saved(shown, tmp_path / "whole.json")
    answer = verify(kept)
    assert answer.exit_code == 0, answer.output
    told = shown.locator("[data-prove] summary").inner_text()
    found = json.loads(answer.output)
    position = found["position"]
    again = {"animal": "the same", "offer": "it rests on entries that you have no access to"}
    assert set(found["standings"].values()) == {again[page]}
    assert told.startswith(f"{QUIET} {position:,}")
    altered_file = tmp_path / "altered.json"
    altered_file.write_text(kept.read_text().replace('"conclusion": "male"', '"conclusion": "x"'))
    assert verify(altered_file).exit_code == 1
    another = Signer(LOG.name, KeyType.ED25519, bytes(range(1, 33)))
    assert verify(kept, str(another.verifier)).exit_code == 1
    elsewhere = Signer("elsewhere.example/log", KeyType.ED25519, bytes(range(1, 33)))
    assert verify(kept, str(elsewhere.verifier)).exit_code == 2
    odd = tmp_path / "odd.json"
    odd.write_text('{"format": 1}')
    assert verify(odd).exit_code == 1


@pytest.mark.parametrize(
    ("page", "what"),
    [case for case in CASES if case[1] in ALTERED_ROWS],
)
@pytest.mark.some(2)
def test_the_command_says_of_a_saved_page_what_the_browser_said(
    opened: Open, story: Told, page: str, what: str, tmp_path: Path
) -> None:
    statement, _ = (ALTERATIONS | OF_THE_SALE | OF_THE_ANIMAL)[what]
    with altered(story, statement):
        shown = looked(opened, story, page)
        alarm = shown.get_by_role("alert")
        expect(alarm).to_be_visible()
        answer = verify(saved(shown, tmp_path / "altered.json"))
    assert answer.exit_code == 1
    said = [one.replace(" Where it is shown", "") for one in alarm.locator("li").all_inner_texts()]
    assert json.loads(answer.output)["why"].split("\n  ") == said


def saved(page: Page, path: Path) -> Path:
    with page.expect_download() as download:
        page.get_by_role("button", name="Save record and proof").click()
    assert re.fullmatch(
        r"record-and-proof-\d{4}-\d\d-\d\d\.json", download.value.suggested_filename
    )
    download.value.save_as(path)
    assert "/offers/" not in path.read_text(), "whoever has the link can answer for the buyer"
    return path


def verify(file: Path, key: str = str(LOG.verifier)) -> Result:
    return CliRunner().invoke(cli, ["verify", "--json", "--key", key, str(file)])


def test_a_log_that_signed_something_else_before_is_found_out(opened: Open, story: Told) -> None:
    """By what the browser kept of it."""
    shown = looked(opened, story, "offer", expected="400")
    expect(shown.locator("[data-prove] summary")).to_contain_text(QUIET)
    name = f"scalewitness checkpoint {LOG.name}"
    note = shown.evaluate("(name) => localStorage.getItem(name)", name)
    size = int(note.split("\n")[1])
    for entries, told in (
        (size, "two different states of one size"),
        (size - 2, "does not show that it begins with"),
        (size + 5, "fewer entries than it had signed for"),
    ):
        text = Checkpoint(LOG.name, entries, bytes(31) + b"1").body()
        other = str(signed(text, LOG))
        shown.evaluate("([name, note]) => localStorage.setItem(name, note)", [name, other])
        with shown.expect_response(re.compile("proofs")):
            shown.reload()
        expect(shown.get_by_role("alert")).to_contain_text(told)
        kept = shown.evaluate("(name) => localStorage.getItem(name)", name)
        assert kept == other, "what convicts it is not forgotten"


def test_an_entry_that_came_while_the_page_was_read_alarms_nobody(
    opened: Open, story: Told, site: Site
) -> None:
    def late(route: Route) -> None:
        sent = fact(probing("male", "R-1"))
        path = f"{site.url}/api/v1/animals/{story.animal}/calls"
        bearer = {"Authorization": f"Bearer {story.device}"}
        httpx.post(path, json=sent, headers=bearer, timeout=60).raise_for_status()
        route.continue_()

    shown = opened("/about")
    shown.route("**/proofs", late)
    shown.goto(story.path("offer"))
    expect(shown.locator("[data-prove] summary")).to_contain_text(QUIET)


def test_without_a_connection_nothing_is_claimed_and_nobody_alarmed(
    opened: Open, story: Told
) -> None:
    shown = opened("/about", expected="ERR_FAILED")
    shown.route("**/proofs", lambda route: route.abort())
    shown.goto(story.path("offer"))
    expect(shown.locator("[data-prove]")).to_contain_text("Not checked by this page. There was no")
    assert shown.locator(".alarm").count() == 0


@pytest.mark.parametrize("page", ["offer", "animal"])
def test_without_script_the_page_says_that_nobody_checked_it(
    opened: Open, story: Told, page: str
) -> None:
    shown = looked(opened, story, page, java_script_enabled=False)
    expect(shown.locator("[data-prove]")).to_contain_text("Not checked by your browser")
    shown.get_by_role("link", name="How to check it otherwise").click()
    expect(shown.locator("#pages")).to_be_in_viewport()


# --- how it looks, and what it weighs

PHONE = {"width": 360, "height": 740}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("page", ["offer", "animal"])
@pytest.mark.some(1)
def test_line_and_alarm_fit_a_phone_and_every_eye(
    opened: Open, story: Told, page: str, scheme: str
) -> None:
    shown = looked(opened, story, page, viewport=PHONE, color_scheme=scheme)
    shown.locator("[data-prove] summary").click()
    assert Axe().run(shown).response["violations"] == []
    with altered(story, ALTERATIONS["another depth in the call's row"][0]):
        shown.reload()
        expect(shown.get_by_role("alert")).to_be_in_viewport(ratio=0.5)
    assert Axe().run(shown).response["violations"] == []
    assert shown.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    shown.get_by_role("link", name="Where it is shown").first.click()
    expect(shown.locator(".unfit")).to_be_in_viewport()


MOST_SCRIPT = 40_000
"""Bytes on the wire."""


def test_the_script_is_light_and_read_ahead(opened: Open, story: Told) -> None:
    arrived = []
    shown = opened("/about")
    shown.on("requestfinished", lambda one: arrived.append(one) if ".js" in one.url else None)
    shown.goto(story.path("offer"))
    expect(shown.locator("[data-prove] summary")).to_contain_text(QUIET)
    weights = {one.url: one.sizes()["responseBodySize"] for one in arrived}
    assert 0 < sum(weights.values()) <= MOST_SCRIPT, weights
    ahead = shown.locator("link[rel=modulepreload]").count()
    assert ahead == len(weights) - 1, "all are asked for at once, not each by the one before"

"""The phone holds the log to what it saw of it before, and takes nothing in while that does not
fit. Of the cryptography it uses: `tests/browser/test_checking_modules.py`."""

from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page, expect
from tests.browser.rackside.conftest import (
    Phone,
    Racks,
    all_sent,
    fill_in,
    fresh_id,
    open_sheet,
    save,
    stored,
    until,
)
from tests.domain.translog.reference import root_of
from tests.domain.translog.test_proofs import reader, synthetic

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import signed
from scalewitness.domain.translog.proofs import consistency_proof
from scalewitness_cli.alarms import Alarm, proves_fault

OURS, THEIRS = (Signer("log.example", KeyType.ED25519, bytes([seed]) * 32) for seed in (1, 2))
LEAVES = synthetic(9)
HELD = """(async () => {
  const [key, kept, shown, proof] = given;
  const found = await m.held(key, kept, shown, async () => proof);
  return found.trouble ? found.trouble.kind : found.size;
})()"""


def checkpoint(size: int, signer: Signer = OURS, leaves: list[bytes] = LEAVES) -> str:
    head = Checkpoint(signer.name, size, root_of(leaves[:size]))
    return str(signed(head.body(), signer))


GROWN = [encode64(one) for one in consistency_proof(5, 9, reader(LEAVES))]
REWRITTEN = [*LEAVES[:2], LEAVES[8], *LEAVES[3:]]
ELSEWHERE = Signer("other.example", KeyType.ED25519, bytes([1]) * 32)
CASES: dict[str, tuple[str | None, str, Any, Any]] = {
    "the first": (None, checkpoint(5), None, 5),
    "grown": (checkpoint(5), checkpoint(9), GROWN, 9),
    "the same": (checkpoint(5), checkpoint(5), None, 5),
    "cut short": (checkpoint(9), checkpoint(5), GROWN, "smaller"),
    "forked": (checkpoint(9), checkpoint(9, leaves=REWRITTEN), None, "other_root"),
    "rewritten": (checkpoint(5), checkpoint(9, leaves=REWRITTEN), GROWN, "unproven"),
    "without a proof": (checkpoint(5), checkpoint(9), None, "unproven"),
    "with words for a proof": (checkpoint(5), checkpoint(9), ["no", 1, {}], "unproven"),
    "by another key": (checkpoint(5), checkpoint(9, THEIRS), GROWN, "bad_signature"),
    "by another key, the first": (None, checkpoint(9, THEIRS), None, "bad_signature"),
    "no note": (checkpoint(5), "undefined", GROWN, "bad_signature"),
    "another log": (checkpoint(5), checkpoint(9, ELSEWHERE), GROWN, "other_log"),
}


@pytest.mark.parametrize("name", CASES)
def test_a_checkpoint_continues_what_was_seen(modules: Any, name: str) -> None:
    kept, shown, proof, expected = CASES[name]
    assert modules("log", HELD, [str(OURS.verifier), kept, shown, proof]) == expected


def test_the_evidence_convicts_the_log_without_the_phone(modules: Any) -> None:
    kept, shown, *_ = CASES["forked"]
    found = {"id": "1", "kind": "other_root", "at": 1_700_000_000_000, "why": "", "answer": None}
    found |= {"key": str(OURS.verifier), "kept": kept, "shown": shown}
    file = modules("log", "m.evidence(given, 'https://log.example')", found)
    alarm = msgspec.convert(file, Alarm)
    assert alarm.origin == OURS.name
    assert proves_fault(alarm, [OURS.verifier])
    assert not proves_fault(msgspec.structs.replace(alarm, shown=checkpoint(9)), [OURS.verifier])


def looked_at(racks: Racks) -> dict[str, Any]:
    """The checkpoint of now: asking for proofs has it signed."""
    racks.odile.get("proofs", params={"animals": fresh_id()}).raise_for_status()
    return dict(racks.odile.get("log/checkpoint").raise_for_status().json())


def visits_on(page: Page) -> set[str]:
    return {one["id"] for one in stored(page)["visits"]}


def test_nothing_is_taken_in_while_the_log_shows_an_old_state(
    racks: Racks, phone: Phone, tmp_path: Path
) -> None:
    visit = racks.visit("L-1")
    before = looked_at(racks)
    page = phone.signed_in()
    page.goto("/rackside/#/phone")
    expect(page.get_by_text(before["key"])).to_be_visible()
    racks.visit("L-2")
    seen = looked_at(racks)
    assert seen["size"] > before["size"]
    page.reload()
    until(page, lambda: f"up to {seen['size']} entries" in page.inner_text("main"), "the growth")

    page.route("**/api/v1/log/checkpoint", lambda route: route.fulfill(json=before))
    page.reload()
    told = page.get_by_role("region", name="Alarm")
    expect(told).to_contain_text("shows a smaller tree than it vouched for before")
    later = racks.visit("L-3")
    page.unroute("**/api/v1/log/checkpoint")
    page.reload()
    expect(page.locator("#notice")).to_contain_text("Nothing new is taken in")
    open_sheet(page, visit)
    fill_in(page, "L-1")
    save(page, "L-1")
    all_sent(page)
    assert len(racks.calls_on(visit)) == 1, "what was logged here goes"
    assert later.id not in visits_on(page)

    page.goto("/rackside/#/phone")
    evidence = saved(page, tmp_path)
    assert (evidence.kind, evidence.shown) == ("smaller", before["note"])
    assert str(evidence.kept).split("\n")[1] == str(seen["size"])
    set_aside(page)
    until(page, lambda: later.id in visits_on(page), "what came meanwhile")


def saved(page: Page, folder: Path) -> Alarm:
    with page.expect_download() as file:
        page.get_by_role("button", name="Save the evidence").click()
    file.value.save_as(folder / "alarm.json")
    return msgspec.json.decode((folder / "alarm.json").read_bytes(), type=Alarm)


def set_aside(page: Page) -> None:
    """Not without a word of what was found out."""
    told = page.get_by_role("region", name="Alarm")
    for words in ("", "  ", "A copy was restored by mistake."):
        expect(told).to_be_visible()
        told.get_by_label("What you found out").fill(words)
        told.get_by_role("button", name="Set it aside").click()
    expect(told).to_be_hidden()

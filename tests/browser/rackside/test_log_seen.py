"""The phone holds the log to what it saw of it before, and takes nothing in while that does not
fit. Of the cryptography it uses: `tests/browser/test_checking_modules.py`."""

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
import pytest
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    Phone,
    Racks,
    Visit,
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
from scalewitness.domain.translog.key_changes import changed
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import read_note, signature_line, signed
from scalewitness.domain.translog.proofs import consistency_proof
from scalewitness_cli.alarms import Alarm, proves_fault

pytestmark = pytest.mark.one_in(6)

OURS, THEIRS = (Signer("log.example", KeyType.ED25519, bytes([seed]) * 32) for seed in (1, 2))
LEAVES = synthetic(9)
HELD = """(async () => {
  const { key, kept, shown, proofs, changes } = given;
  const asked = {
    consistency: async (old, now) => proofs[`${old}-${now}`] ?? null,
    keyChanges: async () => changes,
  };
  const found = await m.held(key, kept, shown, asked);
  return found.trouble ? found.trouble.kind : [found.size, found.key];
})()"""


def checkpoint(size: int, signer: Signer = OURS, leaves: list[bytes] = LEAVES) -> str:
    head = Checkpoint(signer.name, size, root_of(leaves[:size]))
    return str(signed(head.body(), signer))


PROOFS: dict[str, Any] = {
    f"{old}-{now}": [encode64(one) for one in consistency_proof(old, now, reader(LEAVES))]
    for old, now in ((5, 7), (5, 9), (7, 8), (7, 9), (8, 9))
}
REWRITTEN = [*LEAVES[:2], LEAVES[8], *LEAVES[3:]]
ELSEWHERE = Signer("other.example", KeyType.ED25519, bytes([1]) * 32)
NEXT, LAST = (Signer("log.example", KeyType.ED25519, bytes([seed]) * 32) for seed in (3, 4))


def change(size: int, old: Signer = OURS, new: Signer = NEXT, leaves: list[bytes] = LEAVES) -> str:
    """The note by which one key gives the log over to another."""
    return str(changed(Checkpoint(old.name, size, root_of(leaves[:size])), old, new))


@dataclass(frozen=True)
class Case:
    """What was kept and is shown, the proofs and changes that the log has, and what comes of it:
    the size and whose checkpoint it is, or what is wrong."""

    kept: str | None
    shown: str
    expected: tuple[int, Signer] | str
    proofs: dict[str, Any] = field(default_factory=lambda: PROOFS)
    changes: tuple[str, ...] = ()
    key: Signer = OURS


WORDS = {"5-9": ["no", 1, {}]}
CASES = {
    "the first": Case(None, checkpoint(5), (5, OURS)),
    "grown": Case(checkpoint(5), checkpoint(9), (9, OURS)),
    "the same": Case(checkpoint(5), checkpoint(5), (5, OURS)),
    "cut short": Case(checkpoint(9), checkpoint(5), "smaller"),
    "forked": Case(checkpoint(9), checkpoint(9, leaves=REWRITTEN), "other_root"),
    "rewritten": Case(checkpoint(5), checkpoint(9, leaves=REWRITTEN), "unproven"),
    "without a proof": Case(checkpoint(5), checkpoint(9), "unproven", {}),
    "with words for a proof": Case(checkpoint(5), checkpoint(9), "unproven", WORDS),
    "by another key": Case(checkpoint(5), checkpoint(9, THEIRS), "bad_signature"),
    "by another key, the first": Case(None, checkpoint(9, THEIRS), "bad_signature"),
    "no note": Case(checkpoint(5), "undefined", "bad_signature"),
    "another log": Case(checkpoint(5), checkpoint(9, ELSEWHERE), "other_log"),
    "given over": Case(
        checkpoint(5), checkpoint(9, NEXT), (9, NEXT), changes=("no note", change(7))
    ),
    "given over, the note itself": Case(checkpoint(5), change(7), (7, OURS), changes=(change(7),)),
    "given over twice": Case(
        checkpoint(5),
        checkpoint(9, LAST),
        (9, LAST),
        changes=(change(7), change(8, NEXT, LAST)),
    ),
    "given over round and round": Case(
        checkpoint(5),
        checkpoint(9, THEIRS),
        "bad_signature",
        changes=(change(7), change(7, NEXT, OURS)),
    ),
    "given over by an impostor": Case(
        checkpoint(5), checkpoint(9, NEXT), "bad_signature", changes=(change(7, THEIRS, NEXT),)
    ),
    "given over with another tree": Case(
        checkpoint(5),
        checkpoint(9, NEXT, REWRITTEN),
        "unproven",
        changes=(change(7, leaves=REWRITTEN),),
    ),
    "given over at an earlier tree": Case(
        checkpoint(9), checkpoint(9, NEXT), "smaller", changes=(change(7),)
    ),
    "by the key it had given up": Case(
        checkpoint(7, NEXT), checkpoint(9, OURS), "bad_signature", changes=(change(7),), key=NEXT
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_checkpoint_continues_what_was_seen(modules: Any, name: str) -> None:
    case = CASES[name]
    given = {"key": str(case.key.verifier), "changes": case.changes}
    found = modules("log", HELD, given | {n: getattr(case, n) for n in ("kept", "shown", "proofs")})
    expected = case.expected
    assert found == (
        expected if isinstance(expected, str) else [expected[0], str(expected[1].verifier)]
    )


def test_the_evidence_convicts_the_log_without_the_phone(modules: Any) -> None:
    kept, shown = CASES["forked"].kept, CASES["forked"].shown
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
    goes_all_the_same(racks, page, visit)
    assert later.id not in visits_on(page)

    page.goto("/rackside/#/phone")
    expect(phone.tab("#/calls").locator("#notice")).to_contain_text("Nothing new is taken in")
    evidence = saved(page, tmp_path)
    assert (evidence.kind, evidence.shown) == ("smaller", before["note"])
    assert str(evidence.kept).split("\n")[1] == str(seen["size"])
    set_aside(page)
    until(page, lambda: later.id in visits_on(page), "what came meanwhile")


def test_it_tells_how_new_the_state_is_and_who_cosigned_it(racks: Racks, phone: Phone) -> None:
    seen = looked_at(racks)
    witness = Signer(f"{seen['origin']}/witness/{7:016x}", KeyType.COSIGNATURE, bytes([7]) * 32)
    line = signature_line(read_note(seen["note"]).text, witness, int(time.time()))
    sent = {"key": str(witness.verifier), "cosignature": str(line).rstrip("\n")}
    sent |= {name: seen[name] for name in ("size", "root")}
    racks.odile.post("log/cosignatures", json=sent).raise_for_status()
    page = phone.signed_in()
    page.goto("/rackside/#/phone")
    expect(page.get_by_text("The log signed this state on")).to_be_visible()
    expect(page.get_by_text(f"by 1 witness: {witness.name}.")).to_be_visible()
    carried = page.get_by_role("link", name="this link").get_attribute("href")
    assert str(carried).startswith(f"/log#seen={seen['size']}.")
    page.route("**/api/v1/log/freshness", untimed)
    page.reload()
    expect(page.get_by_text("The log does not show when it signed this state.")).to_be_visible()


def untimed(route: Route) -> None:
    """The entry that tells when is shown not to be in the tree."""
    answer = route.fetch()
    shown = answer.json()
    route.fulfill(response=answer, json=shown | {"map": shown["map"] | {"proof": []}})


def test_an_old_state_beside_a_proof_is_refused_too(racks: Racks, phone: Phone) -> None:
    before = looked_at(racks)
    racks.visit("L-4")
    looked_at(racks)
    page = phone.signed_in("odile")
    until(page, lambda: stored(page)["proved"], "what was shown first")

    def old(route: Route) -> None:
        answer = route.fetch()
        route.fulfill(response=answer, json=answer.json() | {"checkpoint": before["note"]})

    page.route("**/api/v1/proofs*", old)
    animal = racks.visit("L-5").animals["L-5"]
    page.goto("/rackside/#/phone")
    told = page.get_by_role("region", name="Alarm")
    expect(told).to_contain_text("shows a smaller tree than it vouched for before")
    assert animal not in {one["id"] for one in stored(page)["proved"]}


def goes_all_the_same(racks: Racks, page: Page, visit: Visit) -> None:
    """What is logged on the phone."""
    (tag,) = visit.animals
    open_sheet(page, visit)
    fill_in(page, tag)
    save(page, tag)
    all_sent(page)
    assert len(racks.calls_on(visit)) == 1


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

"""The phone holds every animal that it sees whole to the log, and says what came of it beside the
animal. Of the modules that prove it: `tests/browser/test_proving_modules.py`."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
from msgspec import to_builtins
from playwright.sync_api import Page, Route, expect
from tests.browser.rackside.conftest import (
    HERE,
    Phone,
    Racks,
    all_sent,
    fill_in,
    fresh_id,
    open_sheet,
    said,
    save,
    stored,
    until,
)
from tests.browser.rackside.test_following import in_feed, in_store
from tests.world import probing

from scalewitness.domain.translog.commitment import commit
from scalewitness.domain.translog.keys import read_verifier
from scalewitness.domain.translog.leaf import Leaf
from scalewitness_cli.saved import check, read_saved
from scalewitness_cli.shown import Record, disagreements

pytestmark = pytest.mark.one_in(6)

FITS = re.compile(r"Checked by this phone: complete and unaltered as of position [\d,]+")
BLIND = "Before your own call it cannot be shown to you that a record is complete."


@contextmanager
def altered(racks: Racks, table: str, change: str, where: str) -> Iterator[None]:
    """By the database's owner, who can switch its guards off; undone at the end."""
    with psycopg.connect(racks.stack.owner_url, autocommit=True) as owner:
        owner.execute(f"CREATE TABLE kept AS SELECT * FROM {table} WHERE {where}")  # noqa: S608
        owner.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        owner.execute(f"UPDATE {table} SET {change} WHERE {where}")  # noqa: S608
        try:
            yield
        finally:
            column = change.partition(" ")[0]
            owner.execute(
                f"UPDATE {table} SET {column} = kept.{column} FROM kept "  # noqa: S608
                f"WHERE kept.id = {table}.id"
            )
            owner.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")
            owner.execute("DROP TABLE kept")


ANIMAL = "0192d3a0-0000-7000-8000-0000000000aa"
NOON, LATER, LATEST = (f"2026-11-2{day}T12:00:00.000Z" for day in (1, 2, 3))


def entry(kind: str, at: str = NOON, **body: Any) -> Leaf:
    about = {"about": ANIMAL, "by": None, "device": None, "sig": None}
    return Leaf(kind=kind, id=fresh_id(), at=at, body=body, **about)


def weight(grams: str, at: str) -> Leaf:
    return entry("husbandry_noted", at, noted={"type": "weight", "grams": grams})


CALL = entry("call_made", conclusion="male")
STATED = {"label": "male, unverified", "p_male": "0.9", "p_male_pessimistic": "0.8"}
ENTRIES = [
    entry("animal_registered", species="python_regius", hatched="2024-05-01"),
    entry("identifier_assigned", scheme="tag", code="A"),
    entry("identifier_assigned", scheme="transponder", code="985 112 000 123 457"),
    entry("identifier_assigned", scheme="tag", code="A 1"),
    weight("300", LATEST),
    weight("250", LATER),
    entry("husbandry_noted", noted={"type": "meal", "taken": True}),
    entry("husbandry_noted", LATEST, noted={"type": "meal", "taken": False}),
    entry("husbandry_noted", noted={"type": "shed", "stage": "opaque"}),
    entry("husbandry_noted", noted={"type": "health", "sign": "ill"}),
    CALL,
    entry("standing_changed", **STATED),
]
KEPT: dict[str, Any] = {
    "id": ANIMAL,
    "species": {"key": "python_regius"},
    "hatched": "2024-05-01",
    "identifiers": [
        {"scheme": scheme, "code": code}
        for scheme, code in (("transponder", "985112000123457"), ("tag", "A"), ("tag", "A 1"))
    ],
    "condition": {
        "grams": "300",
        "weighed_at": "2026-11-23T12:00:00Z",
        "fed_at": "2026-11-21T12:00:00Z",
        "shed": "opaque",
        "health": "ill",
    },
    "standing": {**STATED, "position": 11},
    "ended": None,
}
ALTERED: dict[str, dict[str, Any]] = {
    "nothing": {},
    "a code": {"identifiers": [{"scheme": "tag", "code": "B"}]},
    "the species": {"species": {"key": "python_bivittatus"}},
    "the day of hatching": {"hatched": None},
    "an end": {"ended": {"why": "lost", "at": NOON}},
    "the weight": {"condition": KEPT["condition"] | {"grams": "30"}},
    "when it was weighed": {"condition": KEPT["condition"] | {"weighed_at": NOON}},
    "its meal": {"condition": KEPT["condition"] | {"fed_at": None}},
    "its health": {"condition": KEPT["condition"] | {"health": "well", "shed": None}},
    "the label": {"standing": KEPT["standing"] | {"label": "male"}},
    "a share": {"standing": KEPT["standing"] | {"p_male": "0.99"}},
    "no standing": {"standing": None},
    "another entry's": {"standing": KEPT["standing"] | {"position": 3}},
}
TOLD = {"call_made", "husbandry_noted"}


def facts_kept(entries: list[Leaf] = ENTRIES) -> list[dict[str, Any]]:
    """What of an animal of one's own is kept for its page."""
    return [
        {"id": one.id, "about": ANIMAL, "position": at, "entry": to_builtins(one)}
        for at, one in enumerate(entries)
        if one.kind in TOLD
    ]


TOLD_WRONG: dict[str, tuple[Any, str]] = {
    "all of it": (lambda facts: facts, ""),
    "one kept back": (lambda facts: facts[1:], "an entry (husbandry noted) at position 4"),
    "a call kept back": (lambda facts: facts[:-1], "at position 10 is not shown"),
    "one altered": (
        lambda facts: [facts[0] | {"entry": facts[0]["entry"] | {"at": LATER}}, *facts[1:]],
        "(position 4): at is shown as",
    ),
    "one invented": (
        lambda facts: [*facts, facts[-1] | {"position": 3, "id": fresh_id()}],
        "(position 3) is shown, and the log has no such entry there",
    ),
}


@pytest.mark.parametrize("name", TOLD_WRONG)
def test_what_an_animals_page_tells_is_held_to_its_entries(modules: Any, name: str) -> None:
    change, told = TOLD_WRONG[name]
    given = {"animal": KEPT, "entries": to_builtins(ENTRIES), "facts": change(facts_kept())}
    script = """m.unfit(given.animal, { subject: given.animal.id, why: null, hidden: [{}],
      entries: new Map(given.entries.entries()) }, [], 99, given.facts)"""
    found = modules("proved", script, given)
    assert len(found) == bool(told)
    assert told in "".join(found)


SALT = bytes(range(32))
COMMITTED = commit("Calm.", SALT)


@pytest.mark.parametrize(
    ("text", "salt", "body", "fits"),
    [
        ("Calm.", SALT.hex(), {"note": COMMITTED}, True),
        (None, SALT.hex(), {"note": COMMITTED}, True),  # erased
        ("Restless.", SALT.hex(), {"note": COMMITTED}, False),
        ("Calm.", SALT[1:].hex(), {"note": COMMITTED}, False),
        ("Calm.", "no hex", {"note": COMMITTED}, False),
        ("Calm.", None, {"note": COMMITTED}, False),
        ("Calm.", SALT.hex(), {}, False),  # its entry has no text
        ("Calm.", None, {}, False),
    ],
)
def test_a_text_is_the_one_that_its_entry_commits_to(
    modules: Any, text: str | None, salt: str | None, body: dict[str, str], *, fits: bool
) -> None:
    fact = {"position": 7, "entry": {"body": body}}
    fact |= {"texts": {"note": text} if text else {}, "salts": {"note": salt} if salt else {}}
    found = modules("proved", "m.otherTexts(given)", [fact])
    assert found == [FORGED.format(7)] * (not fits)


FORGED = "the note shown at position {} is not the one that its entry commits to"


UNFIT = """(() => {
  const { animal, entries, hidden, said } = given;
  const record = { subject: animal.id, why: null, entries: new Map(entries.entries()), hidden };
  return [m.shown(animal), m.unfit(animal, record, said, 99)];
})()"""


@pytest.mark.parametrize("name", ALTERED)
@pytest.mark.parametrize("hidden", [0, 1])
def test_what_is_shown_follows_from_the_entries_as_the_command_says(
    modules: Any, name: str, hidden: int
) -> None:
    animal = KEPT | ALTERED[name]
    given = {"animal": animal, "entries": [to_builtins(one) for one in ENTRIES], "said": []}
    shown, found = modules("proved", UNFIT, given | {"hidden": [{}] * hidden})
    record = Record(dict(enumerate(ENTRIES)), hidden)
    assert found == list(disagreements(shown, {ANIMAL: record}, 99))
    of_sheet = "standing" not in ALTERED[name] and "identifiers" not in ALTERED[name]
    assert bool(found) is (name != "nothing" and not (hidden and of_sheet))


SAID = {"id": CALL.id, "kind": CALL.kind, "at": CALL.at, "about": ANIMAL, "body": CALL.body}


@pytest.mark.parametrize(
    ("said", "position", "fits"),
    [
        (SAID, 10, True),
        (SAID, 9, False),
        (SAID, 100, True),  # beyond the tree that was signed
        (SAID | {"body": {"conclusion": "female"}}, 10, False),
        (SAID | {"at": LATER}, 10, False),
        (SAID | {"id": fresh_id()}, 10, False),
    ],
)
def test_ones_own_word_stands_as_it_was_sent(
    modules: Any, said: dict[str, Any], position: int, *, fits: bool
) -> None:
    given = {"animal": KEPT, "entries": [to_builtins(one) for one in ENTRIES], "hidden": []}
    given["said"] = [{"fact": said, "position": position}]
    _, found = modules("proved", UNFIT, given)
    assert found == [] or not fits
    assert fits or f"(call made, position {position})" in found[0]


def test_thousands_are_asked_for_again_less_often(modules: Any) -> None:
    assert modules("proved", "[1, 500, 501, 5000].map(m.againAfter)") == [
        *[3_600_000] * 2,
        *[86_400_000] * 2,
    ]


def test_a_list_is_as_of_the_earliest_of_its_proofs(modules: Any) -> None:
    script = """(() => {
      const [first, second] = [given.kept, { ...given.kept, id: "b" }];
      const of = (animal, more) => [animal.id, {
        id: animal.id, shown: m.shown(animal), amiss: [], hidden: 0, was: null, ...more }];
      const [a, b] = [of(first, { position: 7 }), of(second, { position: 5, hidden: 2 })];
      const told = (...all) => m.asOf([first, second], new Map(all));
      const changed = of({ ...second, hatched: null }, { position: 9 });
      return [told(a, b), told(a), told(a, changed), told(a, of(second, { amiss: ["x"] })), told()];
    })()"""
    nothing: list[Any] = [None] * 4
    assert modules("proved", script, {"kept": KEPT}) == [{"position": 5, "hidden": 2}, *nothing]


def test_what_did_not_fit_stays_until_it_is_set_aside(modules: Any) -> None:
    bad, good = ({"id": "a", "amiss": amiss, "was": None} for amiss in (["x"], []))
    script = """(() => {
      const once = m.joined(given.good, given.bad);
      return [once.was, m.joined(given.good, once).was, m.joined(given.bad, once).was,
        m.joined(given.good, undefined).was, m.unfitNow(once), m.unfitNow(given.good)];
    })()"""
    left = {"id": "a", "amiss": ["x"]}
    expected = [left, left, None, None, left, None]
    assert modules("proved", script, {"bad": bad, "good": good}) == expected


def own_animals(page: Page, tag: str) -> None:
    page.goto(f"{HERE}#/own")
    page.get_by_label("Find by tag, transponder or name").fill(tag)


def proved(page: Page, animal: str) -> dict[str, Any] | None:
    return next((one for one in stored(page)["proved"] if one["id"] == animal), None)


@pytest.mark.one_in(1)
def test_a_forged_standing_is_named_beside_its_animal(
    racks: Racks, phone: Phone, tmp_path: Path
) -> None:
    animal = racks.visit("P-1").animals["P-1"]
    racks.push(racks.odile, said("call_made", animal, probing("female", "P-1")))
    page = phone.signed_in("odile")
    own_animals(page, "P-1")
    expect(page.get_by_text(FITS)).to_be_visible()
    phone.context.set_offline(True)
    page.reload()
    own_animals(page, "P-1")
    expect(page.get_by_text(FITS)).to_be_visible()

    with altered(racks, "calls_standing", "label = 'verified male'", f"animal_id = '{animal}'"):
        phone.context.set_offline(False)
        heavy = {"noted": {"type": "weight", "grams": "301"}}
        racks.push(racks.odile, said("husbandry_noted", animal, heavy))
        own_animals(page, "P-1")
        told = page.get_by_role("group", name="P-1 and the log")
        expect(told).to_contain_text("label is shown as “verified male”, its entry says")
        expect(page.locator("#notice")).to_contain_text("what is shown of P-1 does not fit the log")
        expect(page.get_by_text(FITS)).to_have_count(0)
        with page.expect_download() as file:
            told.get_by_role("button", name="Save record and proof").click()
        file.value.save_as(tmp_path / "record.json")
        key = racks.odile.get("log/checkpoint").json()["key"]
        found = check(read_saved((tmp_path / "record.json").read_bytes()), [read_verifier(key)])
        assert [one for one in found.amiss if "verified male" in one] == list(found.amiss)
    racks.push(racks.odile, said("husbandry_noted", animal, heavy))
    expect(told).to_contain_text("It fits by now.")
    expect(page.get_by_text(FITS)).to_be_visible()
    told.get_by_role("button", name="Set it aside").click()
    expect(told).to_have_count(0)
    expect(page.locator("#notice")).not_to_contain_text("P-1")


def test_a_forged_note_is_named_beside_its_animal(racks: Racks, phone: Phone) -> None:
    animals = racks.visit("P-9", "Q-9").animals
    noted = {"noted": {"type": "weight", "grams": "301"}, "note": COMMITTED}
    texts = {"note": {"text": "Calm.", "salt": SALT.hex()}}
    forged, other = (
        said("husbandry_noted", animals[tag], noted) | {"texts": texts} for tag in ("P-9", "Q-9")
    )
    racks.push(racks.odile, forged, other)
    position = next(at for at, one in enumerate(racks.entries()) if one.id == forged["id"])
    with altered(racks, "ledger_text", "text = 'Restless.'", f"fact = '{forged['id']}'"):
        page = phone.signed_in("odile")
        own_animals(page, "P-9")
        told = page.get_by_role("group", name="P-9 and the log")
        expect(told).to_contain_text(FORGED.format(position))
    fits = proved(page, animals["Q-9"])
    assert fits is not None
    assert fits["amiss"] == []


@pytest.mark.one_in(1)
def test_a_blind_guest_reads_what_cannot_be_shown_and_keeps_no_proof(
    racks: Racks, phone: Phone
) -> None:
    visit = racks.visit("P-2")
    animal = visit.animals["P-2"]
    racks.push(racks.odile, said("call_made", animal, probing("female", "P-2")))
    asked: list[str] = []
    phone.context.on("request", lambda one: "/proofs" in one.url and asked.append(one.url))
    page = phone.signed_in()
    open_sheet(page, visit)
    expect(page.get_by_text(BLIND)).to_be_visible()
    assert proved(page, animal) is None
    assert not [one for one in asked if animal in one]
    fill_in(page, "P-2")
    save(page, "P-2")
    all_sent(page)
    expect(page.get_by_text(FITS)).to_be_visible()
    assert [one for one in asked if animal in one]


BLIND_BY_NOW = """
  const { write } = await import("/rackside/store/db.js");
  const { keepProved } = await import("/rackside/store/proved.js");
  const { shown } = await import("/rackside/pure/proved.js");
  const animal = ANIMAL, item = ITEM;
  const found = { id: animal.id, shown: shown(animal), at: 1, position: 9, hidden: 2, was: null,
    amiss: ["at position 9 the record states more"], proofs: {} };
  await write(["proved"], ({ proved }) => proved.put(found));
  for (let taken = false; !taken;) {
    const { cursor } = await s.feed();
    await s.take(session, cursor, { items: [item], cursor, more: false });
    taken = (await s.feed()).cursor === cursor;
  }
  await keepProved(session, [found], null);
"""


@pytest.mark.parametrize("item", ["animal", "purge"])
def test_nothing_stays_of_an_animal_that_is_blind_or_gone_by_now(
    racks: Racks, phone: Phone, item: str
) -> None:
    """Also not of a proof that was under way."""
    page = phone.signed_in()
    in_feed(page, "at.cursor")
    blind = {"type": "animal", "animal": KEPT | {"sight": "blind", "standing": None}}
    gone = {"type": "purge", "animal": ANIMAL}
    script = BLIND_BY_NOW.replace("ANIMAL", json.dumps(KEPT))
    in_store(page, script.replace("ITEM", json.dumps(blind if item == "animal" else gone)))
    assert proved(page, ANIMAL) is None
    assert "the record states more" not in json.dumps(stored(page))


def test_what_comes_in_between_is_asked_for_again(racks: Racks, phone: Phone) -> None:
    """Between the animal as the feed has it and its proof; and a tab that is closed meanwhile."""
    animal = racks.visit("P-3").animals["P-3"]
    page = phone.signed_in("odile")
    until(page, lambda: proved(page, animal), "a first proof")
    waiting: list[Route] = []
    page.route("**/api/v1/proofs*", lambda route: waiting.append(route))
    racks.push(racks.odile, said("call_made", animal, probing("female", "P-3")))
    until(page, lambda: waiting, "the question")
    page.close()
    page = phone.tab()
    seen: list[str] = []

    def late(route: Route) -> None:
        if not seen:
            racks.push(racks.odile, said("call_made", animal, probing("male", "P-3")))
        seen.append(route.request.url)
        route.continue_()

    page.route("**/api/v1/proofs*", late)
    racks.push(racks.odile, said("call_made", animal, probing("female", "P-3")))
    until(page, lambda: len(seen) > 1, "another question")
    until(page, lambda: is_of_now(racks, page, animal), "the proof of now")
    assert [one["amiss"] or one["was"] for one in [proved(page, animal)] if one] == [None]


def is_of_now(racks: Racks, page: Page, animal: str) -> bool:
    standing = racks.odile.get(f"animals/{animal}").json()["standing"]
    found = proved(page, animal)
    return found is not None and found["shown"][1]["position"] == standing["position"]


def test_a_browser_that_cannot_check_says_so(racks: Racks, phone: Phone) -> None:
    visit = racks.visit("P-5")
    phone.context.add_init_script(
        "SubtleCrypto.prototype.verify = async () => {"
        " throw new DOMException('', 'NotSupportedError') }"
    )
    page = phone.signed_in()
    open_sheet(page, visit)
    expect(page.get_by_text("Not checked by this phone. This browser does not")).to_be_visible()
    page.goto(f"{HERE}#/phone")
    expect(page.get_by_text("Not checked by this phone. This browser does not")).to_be_visible()


OLD_STORE = """async (kept) => {
  await new Promise((done) => { indexedDB.deleteDatabase("rackside").onsuccess = done; });
  const names = { meta: null, visits: "id", animals: "id", outbox: "id", drafts: "animal",
    photos: "id", named: "id" };
  const db = await new Promise((done) => {
    const asked = indexedDB.open("rackside", 4);
    asked.onupgradeneeded = () => Object.entries(names).forEach(([name, keyPath]) =>
      asked.result.createObjectStore(name, keyPath ? { keyPath } : {}));
    asked.onsuccess = () => done(asked.result); });
  const step = db.transaction(Object.keys(names), "readwrite");
  kept.animals.forEach((one) => step.objectStore("animals").put(one));
  Object.entries(kept.meta).forEach(([name, one]) => step.objectStore("meta").put(one, name));
  await new Promise((done) => { step.oncomplete = done; });
  db.close();
}"""
META = """async () => {
  const db = await new Promise((done) => {
    const asked = indexedDB.open("rackside"); asked.onsuccess = () => done(asked.result); });
  const meta = db.transaction("meta").objectStore("meta"), found = {};
  for (const name of ["session", "feed", "own"]) found[name] = await new Promise((done) => {
    const asked = meta.get(name); asked.onsuccess = () => done(asked.result); });
  db.close();
  return found;
}"""


def test_what_an_earlier_version_kept_is_held_to_the_log_too(racks: Racks, phone: Phone) -> None:
    animal = racks.visit("P-4").animals["P-4"]
    page = phone.signed_in("odile")
    until(page, lambda: proved(page, animal), "the animal")
    kept = {"animals": stored(page)["animals"], "meta": page.evaluate(META)}
    page.goto("/about")
    page.evaluate(OLD_STORE, kept)
    page.goto(f"{HERE}#/own")
    expect(page.get_by_text(FITS)).to_be_visible()
    assert proved(page, animal)

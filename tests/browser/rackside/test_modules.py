"""The app's pure modules, run in the browser. Sources: `vectors/jcs_rfc8785.json` (RFC 8785),
`vectors/uuid7_ed25519.json` (RFC 9562, RFC 8032); what a device signs is held against
`domain/translog/leaf.py` and `clients/scalewitness_cli/devicekey.py`."""

import json
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec import to_builtins
from tests.browser.rackside.conftest import fresh_id
from tests.turns import turns

from scalewitness.animals.queries import LastNoted
from scalewitness.domain.cautions import AtTheRack, reasons_to_wait
from scalewitness.domain.choices import HOLDERS, IN_SHED, MEALS, words
from scalewitness.domain.facts import BODIES
from scalewitness.domain.methods import METHODS
from scalewitness.domain.translog.commitment import commit
from scalewitness.domain.translog.leaf import Stamp, leaf_bytes, signable_bytes

VECTORS = Path(__file__).parents[2] / "vectors"


def vectors(name: str) -> Any:
    return json.loads((VECTORS / name).read_text(encoding="utf-8"))


JCS, UUID7 = vectors("jcs_rfc8785.json"), vectors("uuid7_ed25519.json")["uuid7"]


def test_canonical_json(modules: Any) -> None:
    made = modules(
        "shared/canonical",
        "given.map((one) => m.canonical(JSON.parse(one)))",
        [one["input_utf8"] for one in JCS["files"]],
    )
    assert made == [one["output_utf8"] for one in JCS["files"]]


def test_what_json_cannot_hold_has_no_canonical_form(modules: Any) -> None:
    script = """[NaN, Infinity, undefined, "\\ud800", {"\\udead": 1}, [() => 1]].map((one) => {
      try { return m.canonical(one); } catch (fault) { return fault.name; } })"""
    assert modules("shared/canonical", script) == ["TypeError"] * 6


def test_uuid7(modules: Any) -> None:
    example = UUID7["rfc_example"]
    entropy = list(bytes.fromhex("0" + example["rand_a_hex"] + example["rand_b_hex"]))
    script = "m.uuid7(given[0], Uint8Array.from(given[1]))"
    assert modules("uuid7", script, [example["unix_ts_ms"], entropy]) == example["uuid"].lower()
    zero, maximum, _ = (one["uuid"] for one in UUID7["computed"])
    assert modules("uuid7", script, [0, [0] * 10]) == zero
    assert modules("uuid7", script, [2**48 - 1, [255] * 10]) == maximum


def test_what_is_signed_is_the_servers_own_bytes(modules: Any) -> None:
    body = {"conclusion": "male", "identified": {"code": "Ä-1 ✓", "by": "tag"}}
    given = {"id": "i", "kind": "call_made", "at": "2026-11-25T09:30:00.000Z", "about": "a"}
    script = "new TextDecoder().decode(m.signable(given, 'keeper', 'phone'))"
    made = modules("leaf", script, {**given, "body": body, "texts": {"note": "unsigned"}})
    assert made.encode() == signable_bytes(**given, by="keeper", device="phone", body=body)


def test_an_entry_is_made_as_the_log_has_it(modules: Any) -> None:
    said = {"id": "i", "kind": "call_made", "at": "2026-11-25T09:30:00.000Z", "about": "a"}
    said["body"] = {"conclusion": "male"}
    stamp = Stamp("2026-11-25T09:30:00.123456Z", ("late",))
    sent = {"by": "keeper", "device": "phone"}
    given = {"fact": said, "sig": "AA==", "stamp": to_builtins(stamp), **sent}
    script = "m.entriesOf(given).map((one) => new TextDecoder().decode(one))"
    assert modules("leaf", script, given) == [
        leaf_bytes(**said, **sent, sig=sig, stamp=stamp).decode() for sig in ("AA==", None)
    ]


def test_a_commitment_is_the_servers(modules: Any) -> None:
    salt, text = bytes(range(32)), "Cafe\u0301 tense"
    script = "await m.commitment(given[0], Uint8Array.from(given[1]))"
    assert modules("leaf", script, [text, list(salt)]) == commit(text, salt)


BLANK = "{...m.blank(), ...given, passes: given.passes ?? m.blank().passes}"
MISSING = f"m.missing({BLANK}, 'python_regius')"
FULL = {"identified": "appearance", "conclusion": "male", "sureness": "unsure", "told": "no"}


FIRST = {"count": "70", "yes_or_no": "yes"}


def test_every_method_gives_a_body_the_server_takes(modules: Any) -> None:
    import msgspec

    methods = modules("words", "Object.entries(m.METHODS).map(([k, v]) => [k, v.asks, v.atRack])")
    assert methods[0][0] == "probing"
    for name, asks, at_rack in methods:
        answers = {ask: FIRST.get(str(kind)) or kind[0][0] for ask, _, kind, *_ in asks}
        form = {**FULL, "method": name, "answers": answers, "held_by": "keeper", "harm": ["other"]}
        form["conclusion"] = "female"
        if name == "probing":
            form["passes"] = [{"side": "left", "depth": 7.5, "stopped": "choice"}]
            form["probe_mm"] = " 1,50 mm"
        if not at_rack:
            form |= {"whose": "laboratory", "whose_name": "A lab", "document": "AB" * 32}
        assert modules("call", MISSING, form) == [], name
        who = "null" if at_rack or name == "statement" else f"'{fresh_id()}'"
        body = modules("call", f"m.body({BLANK}, null, {who})", form)
        assert body.get("reported", {}).get("role") == ("laboratory" if who != "null" else None)
        typed = msgspec.convert(body, BODIES["call_made"])
        assert json.loads(msgspec.json.encode(typed)) == body, "the log's own form"
        assert body["observed"].get("probe_mm") == ("1.5" if name == "probing" else None)


@pytest.mark.parametrize(
    ("typed", "taken"),
    [("1.5", "1.5"), ("0,3", "0.3"), ("8", "8"), ("8.01", None), ("0.2", None), ("thin", None),
     ("1.234", None), ("2.", "2")],
)  # fmt: skip
def test_a_probe_s_width_is_taken_as_the_server_takes_it(
    modules: Any, typed: str, taken: str | None
) -> None:
    assert modules("call", "m.millimetres(given)", typed) == taken


def test_what_is_missing_is_named_in_the_order_of_the_form(modules: Any) -> None:
    names = modules("call", f"{MISSING}.map(([name]) => name)", {"grams": "x"})
    assert names == [
        "grams", "identified", "held_by", "told", "pass-0", "conclusion", "sureness",
    ]  # fmt: skip
    form = {**FULL, "held_by": "keeper", "identified": "transponder", "code": "123"}
    form["passes"] = [{"side": "left", "depth": 7, "stopped": ""}]
    names = modules("call", f"{MISSING}.map(([name]) => name)", form)
    assert names == ["code", "stopped-0"]


@pytest.mark.parametrize(("species", "deepest"), [("python_regius", 10), ("draco", 16)])
def test_a_depth_that_no_source_gives_is_asked_again(
    modules: Any, species: str, deepest: int
) -> None:
    def lacks(depth: float, **more: Any) -> list[str]:
        form = {**FULL, "held_by": "keeper", **more}
        form["passes"] = [{"side": "left", "depth": depth, "stopped": "resistance"}]
        asked = f"m.missing({BLANK}, '{species}').map(([name]) => name)"
        found: list[str] = modules("call", asked, form)
        return found

    assert lacks(deepest) == []
    assert lacks(deepest + 0.5) == ["unusual"]
    assert lacks(deepest + 0.5, unusual=True) == []


@pytest.mark.parametrize(
    ("typed", "logged"),
    [("420", "420"), ("35,5", "35.5"), ("35.0 g", "35"), ("007", "7"), ("0", None), ("x", None)],
)
def test_grams(modules: Any, typed: str, logged: str | None) -> None:
    assert modules("call", "m.grams(given)", typed) == logged


def test_a_record_goes_its_way_and_no_other(modules: Any) -> None:
    """Sent again after every loss; only a refused one can be put aside."""
    script = """(() => {
      const one = m.saved({id: "1"}, {by: "k", order: 1});
      const gone = m.sent(one);
      const back = m.unanswered(gone, "No connection.");
      const states = (outcome) => m.settle([m.sent(back)], [outcome])[0];
      const refused = states({id: "1", status: "refused", problem: {detail: "Why."}});
      let thrown = "";
      try { m.aside(gone); } catch (fault) { thrown = fault.message; }
      const held = m.settle([m.sent(back, 5e9)], [{id: "1", status: "held"}])[0];
      const asks = (now) => m.due([held], "k", {now}).length;
      return {
        owed: [held, {...held, file: "waiting"}].map((each) => m.isOwed(each)),
        asks: [asks(5e9), asks(5e9 + m.ASK_AGAIN - 1), asks(5e9 + m.ASK_AGAIN)],
        due: [one, gone, back, refused].map((each) => m.due([each], "k").length),
        foreign: m.due([one], "other").length,
        duplicate: m.words(states({id: "1", status: "duplicate", position: 7})),
        held: states({id: "1", status: "held"}).state,
        refused: m.words(refused),
        unknown: m.words(states({id: "2", status: "accepted"})),
        strange: states({id: "1", status: "pondered"}).state,
        late: m.unanswered(refused, "No connection.").state,
        aside: m.words(m.aside(refused, "2")), thrown,
      };
    })()"""
    assert modules("outbox", script) == {
        "owed": [False, True],
        "asks": [0, 0, 1],
        "due": [1, 1, 1, 0],
        "foreign": 0,
        "duplicate": "Accepted at position 7",
        "held": "held",
        "refused": "Needs you: Why.",
        "unknown": "Saved here. It was not answered.",
        "strange": "saved",
        "late": "refused",
        "aside": "Put aside: sent anew",
        "thrown": "only what was refused or never sent can be put aside",
    }


def test_what_seals_a_late_call_is_kept_and_one_that_is_forgotten_is_told(modules: Any) -> None:
    script = """(() => {
      const sent = m.sent(m.saved({id: "1", body: {}}, {by: "k"}));
      const seal = (entry) => ({position: 7, entry, salt: "00"});
      const told = (record, seal) => m.settle([record], [{id: "1", status: "held", seal}])[0];
      const first = told(sent, seal("a"));
      const last = (record) => [record.seal?.entry ?? null, m.words(record).split(". ")[1] ?? ""];
      return [told(sent), first, told(first, seal("a")), told(first, seal("b")), told(first)]
        .map(last);
    })()"""
    kept = "It is under seal at position 7 of the log"
    forgotten = (
        "The record has forgotten that it sealed it at position 7 of the log: ask others to look "
        "into that"
    )
    assert modules("outbox", script) == [
        [None, ""],
        ["a", kept],
        ["a", kept],
        ["a", forgotten],
        ["a", forgotten],
    ]


def test_outcomes_answer_by_place_where_every_id_fits(modules: Any) -> None:
    """Those of items refused before their id was read have none; where one stands that is not
    its place's, only ids count. `records` come in any order."""
    script = """(() => {
      const records = ["1", "2"].map((id) => m.sent(m.saved({id}, {by: "k"})));
      const told = (...outcomes) => m.settle(records.toReversed(), outcomes, ["1", "2"])
        .toReversed().map((one) => one.position ?? one.state);
      const refused = {id: null, status: "refused"};
      const accepted = (id, position) => ({id, status: "accepted", position});
      return [
        told(refused, accepted("2", 7)), told(accepted(null, 7), accepted("2", 8)),
        told(accepted("2", 7), refused), told(accepted("2", 7)), told(null, refused),
      ];
    })()"""
    assert modules("outbox", script) == [
        ["refused", 7],
        [7, 8],
        ["saved", 7],
        ["saved", 7],
        ["saved", "saved"],
    ]


def test_who_rests_lets_the_others_go_and_a_photo_waits_for_its_call(modules: Any) -> None:
    script = """(() => {
      const saved = (id, body) => m.saved({id, body}, {by: "k", order: +id});
      const made = (id, more, body = {}) => ({...saved(id, body), ...more});
      const rest = {from: 1000, seconds: 5};
      const due = (now, ...records) => m.due(records, "k", {now}).map((one) => one.id).join("");
      const call = (more) => made("1", more);
      const photo = made("2", {}, {of: "1"});
      return [
        due(2000, call(), photo), due(2000, call({rest}), photo, made("3")),
        due(6000, call({rest}), photo), due(-9e9, call({rest})),
        due(null, call({rest}), photo), due(2000, call({state: "accepted"}), photo),
        due(2000, call({state: "refused"}), photo),
      ];
    })()"""
    assert modules("outbox", script) == ["12", "3", "12", "1", "12", "2", ""]


def test_nothing_of_an_animal_goes_before_it_is_registered_nor_out_of_its_order(
    modules: Any,
) -> None:
    """1 registers it, 2 to 4 are stated with that; 5 is about another."""
    script = """(() => {
      const kind = (id) => id === "1" ? "animal_registered" : "any";
      const made = (id) => ({by: "k", order: +id, call: "1"});
      const saved = (id) => m.saved({id, kind: kind(id), body: {}}, made(id));
      const rest = {from: 1000, seconds: 5};
      const other = {...saved("5"), call: "5"};
      const due = (changes, most) => m.due(
        ["1", "2", "3", "4"].map((id) => ({...saved(id), ...changes[id]})).concat(other), "k",
        {now: 2000, most}).map((one) => one.id).join("");
      const put = m.aside({...saved("2"), state: "saved"}, "9");
      return [
        due({}), due({}, 2), due({1: {rest}}), due({1: {state: "accepted"}, 2: {rest}}),
        due({1: {state: "accepted"}, 3: {state: "refused"}}), due({1: {state: "refused"}}),
        due({1: {state: "aside"}}), due({1: {state: "sent"}}), put.state,
      ];
    })()"""
    assert modules("outbox", script) == [
        *["12345", "12", "5", "5", "245", "5", "5", "12345"],
        "aside",
    ]


def test_pushes_are_few_and_a_rest_ends_with_its_time_or_its_clock(modules: Any) -> None:
    pace = "given.map((times) => m.pace(times, 20000))"
    pushes = [[], [11_000, 12_000, 13_000], [11_000, 12_000, 13_000, 14_000], [99_000] * 9]
    assert modules("waiting", pace, pushes) == [0, 0, 1, 0]
    left = "given.map((now) => m.left({from: 1000, seconds: 5}, now))"
    assert modules("waiting", left, [1000, 4000, 9000, -9_000_000]) == [5, 2, 0, 0]


def test_a_reading_is_put_right_only_where_the_clock_was_not_set_between(modules: Any) -> None:
    """Seconds here: the server's clock, this phone's, and the page's own time, or its life."""
    script = """given.map(([before, reading, latest]) => {
      const one = (values) => {
        if (!values) return null;
        const [server, here, mono, life = "a"] = values;
        const read = {here: here * 1000, mono: mono * 1000, life};
        return server === null ? read : m.look(server * 1000, read);
      };
      const found = m.lookFor({...one(reading), before: one(before)}, one(latest));
      return found && found.offset;
    })"""
    day = 86_400
    steady = [[0, -day, 0], [None, 100 - day, 100], [200, 200 - day, 200]]
    reloaded = [[0, -day, 0], [None, 100 - day, 5, "b"], [200, 200 - day, 7, "c"]]
    set_after = [[0, -day, 0], [None, 100 - day, 100], [200, 200, 200]]
    set_before = [[0, 0, 0], [None, 100 - day, 100], [200, 200 - day, 200]]
    set_somewhen = [[0, 0, 0], [None, 100 - day, 5, "b"], [200, 200 - day, 7, "c"]]
    there_and_back = [[0, 0, 0], [None, 100 - day, 5, "b"], [200, 200, 7, "c"]]
    ahead_and_back = [[0, 0, 0], [None, 100 + day, 5, "b"], [200, 200, 7, "c"]]
    slept = [[0, -day, 0], [None, 9000 - day, 100], [18_000, 18_000 - day, 200]]
    first = [None, [None, 100 - day, 5, "b"], [200, 200 - day, 7, "c"]]
    given = [steady, reloaded, set_after, set_before, set_somewhen, there_and_back]
    found = modules(
        "clock", script, [*given, ahead_and_back, slept, first, [None, steady[1], None]]
    )
    assert found == [day, day, day, day, None, None, None, day, day, None]


def test_how_far_a_clock_is_off_in_words(modules: Any) -> None:
    offsets = [172_799, -172_800, 97_210, 2400, -7260, 20]
    assert modules("clock", "given.map(m.wayOff)", offsets) == [
        "2 days behind",
        "2 days ahead",
        "1 day and 3 hours behind",
        "40 minutes behind",
        "2 hours and 1 minute ahead",
        "less than a minute behind",
    ]


def test_an_accepted_visit_opens_by_the_clock_and_no_other_does(modules: Any) -> None:
    states = ["invited", "accepted", "open", "over", "declined", "cancelled"]
    script = "given.map((state) => m.stateAt({state, opens: '2026-11-29T10:00:00Z'}, %s))"
    before, at = "Date.UTC(2026, 10, 29, 9)", "Date.UTC(2026, 10, 29, 10)"
    assert modules("visits", script % before, states) == states
    opened = ["open" if one == "accepted" else one for one in states]
    assert modules("visits", script % at, states) == opened


def test_a_sheet_is_kept_till_the_next_comes_and_no_longer_than_its_visit(modules: Any) -> None:
    script = """(() => {
      const rows = ["a", "b"].map((animal) => ({animal}));
      const kept = {rows, ahead: [{id: "a"}, {id: "b"}], cautions: ["c"]};
      const count = (visit) => visit.rows && visit.rows.length + visit.ahead.length;
      return [
        ...["accepted", "open", "cancelled", "over"].map((state) => count(m.listed({state}, kept))),
        count(m.listed({state: "open"})), count(m.without(kept, new Set(["a"]))),
        count(m.without(m.listed({state: "open"}), new Set(["a"]))),
      ];
    })()"""
    assert modules("visits", script) == [4, 4, 0, 0, None, 2, None]


def test_waits_double_up_to_five_minutes(modules: Any) -> None:
    waits = modules("waiting", "[0, 1, 4, 50].map((tries) => m.backoff(tries, 1))")
    assert waits == [1, 2, 16, 300]
    asked = (
        "['7', null, 'x', 'Thu, 26 Nov 2026 00:01:00 GMT'].map((one) => m.retryAfter(one, given))"
    )
    assert modules("waiting", asked, 1_795_651_200_000) == [7, None, None, 60]


NOW = datetime(2026, 11, 26, tzinfo=UTC)
CONDITIONS = [
    {"grams": grams, "weighed_at": weighed, "fed_at": fed, "shed": shed}
    for grams, weighed in [
        (None, None),
        ("84", "2026-11-20T00:00:00Z"),
        ("100", "2026-09-27T00:00:00Z"),
        ("99.5", "2026-09-26T23:59:59Z"),
        ("900", "2026-09-26T23:59:59Z"),
    ]
    for fed in (None, "2026-11-23T00:00:00Z", "2026-11-23T00:00:01Z", "2026-11-25T20:00:00Z")
    for shed in (None, "opaque", "clear", "shed")
]
FORMS: list[dict[str, Any]] = [
    {},
    *({"meal": meal, "shed": shed} for meal in words(MEALS) for shed in ("", *words(IN_SHED))),
    *({"grams": grams} for grams in ("84", "99,5", "100", "x")),
    *({"held_by": by, "method": how} for by in words(HOLDERS) for how in METHODS),
    {"harm": ["bleeding"], "held_by": "examiner"},
]


def test_the_phone_cautions_as_the_server_does(modules: Any, pytestconfig: pytest.Config) -> None:
    """A guest's phone: of health it knows something only where the visit is not blind. An
    ordinary run compares a fifth of the cases, another with each seed."""
    methods = modules("words", "Object.keys(m.METHODS)")
    forms = [one for one in FORMS if one.get("method") in (None, *methods)]
    holds = [(True, None), (False, None), (False, "ill"), (False, "well")]
    cases = [
        (c | {"health": health}, f, hold_off)
        for c in CONDITIONS
        for f in forms
        for hold_off, health in holds
    ]
    cases = [one for one, turn in zip(cases, turns(pytestconfig, 5), strict=False) if turn]
    blank = {"harm": [], "method": "probing", "held_by": "", "meal": "", "shed": "", "grams": ""}
    given = [[{"condition": c, "hold_off": hold}, blank | f] for c, f, hold in cases]
    script = "given[0].map(([animal, form]) => m.cautions(animal, form, given[1]))"
    said = modules("cautions", script, [given, NOW.timestamp() * 1000])
    for (condition, form, hold_off), phone in zip(cases, said, strict=True):
        assert phone == _cautions(condition, blank | form, hold_off), (condition, form)
    assert {len(one) for one in said} >= {0, 1, 2, 3, 4, 5}


def _cautions(condition: dict[str, Any], form: dict[str, Any], hold_off: bool) -> list[str]:
    moments = {
        name: value and datetime.fromisoformat(value)
        for name, value in condition.items()
        if name.endswith("_at")
    }
    typed = form["grams"].replace(",", ".")
    known = LastNoted(
        **moments,
        grams=condition["grams"] and Decimal(condition["grams"]),
        shed=condition["shed"],
        health=condition["health"],
    )
    said = AtTheRack(
        grams=Decimal(typed) if typed and typed != "x" else None,
        meal=form["meal"] or None,
        shed=form["shed"] or None,
        held_by=form["held_by"] or None,
        method=form["method"],
        harm=bool(form["harm"]),
    )
    return list(reasons_to_wait(known, hold_off=hold_off, now=NOW, steward=False, at_rack=said))

"""What can be undone, what goes with it, and what is told of what was lost."""

from typing import Any

SAVED = """const saved = (id, more = {}) => ({
  id, by: "k", call: "1", order: +id, state: "saved", tries: 0, shown: {},
  form: null, fact: {id, kind: "any", about: "a", body: {}}, ...more});"""


def test_only_what_never_left_can_be_undone_and_within_ten_seconds(modules: Any) -> None:
    script = f"""(() => {{ {SAVED}
      const fresh = (more) => m.withUndo(saved("1", more), 1000);
      const left = (records, now, ids = ["1"]) => m.undoable(records, ids, now);
      return [
        left([fresh()], 1000), left([fresh()], 10500), left([fresh()], 11000), left([fresh()], 999),
        left([fresh({{tries: 1}})], 1000), left([fresh({{carried: 5}})], 1000),
        left([fresh({{state: "aside"}})], 1000), left([], 1000), left([fresh()], 1000, []),
        left([fresh(), saved("2", {{tries: 1}})], 1000, ["1", "2"]),
      ];
    }})()"""
    assert modules("undo", script) == [10, 0.5, 0, 0, 0, 0, 0, 0, 0, 0]


def test_what_was_stored_last_is_offered_again_after_a_reload(modules: Any) -> None:
    script = f"""(() => {{ {SAVED}
      const at = (id, now) => m.withUndo(saved(id), now);
      const records = [at("1", 1000), at("2", 3000), at("3", 3000), saved("4")];
      return [m.lastUndoable(records, 4000), m.lastUndoable(records, 20000)];
    }})()"""
    assert modules("undo", script) == [["2", "3"], []]


def test_what_rests_on_an_entry_falls_with_it(modules: Any) -> None:
    """1 to 3 are stated together; 4 is a photo of 2; 5 is of the animal that 1 registers."""
    script = f"""(() => {{ {SAVED}
      const fact = (id, more) => ({{id, kind: "any", about: "b", body: {{}}, ...more}});
      const first = saved("1", {{fact: fact("1", {{kind: "animal_registered", about: "a"}})}});
      const alone = (id, more = {{}}) =>
        saved(id, {{call: id, fact: fact(id, {{about: "c"}}), ...more}});
      const records = [
        alone("5", {{fact: fact("5", {{about: "a"}})}}),
        alone("4", {{fact: fact("4", {{about: "c", body: {{of: "2"}}}})}}),
        saved("3"), saved("2"), first, alone("6"), saved("7", {{by: "other", call: "1"}}),
      ];
      const ids = (found) => found.map(({{id}}) => id).join("");
      const group = m.groupOf(records, first);
      return [
        ids(group), ids(m.withDependents(records, group)),
        ids(m.withDependents(records, [records[0]])),
        m.mainOf(group).id, m.mainOf([saved("2"), saved("3", {{form: {{}}}})]).id,
      ];
    }})()"""
    assert modules("undo", script) == ["123", "12345", "5", "1", "3"]


def test_a_form_comes_back_with_its_weight_photos_and_time(modules: Any) -> None:
    script = f"""(() => {{ {SAVED}
      const fact = (id, body) => ({{id, kind: "any", about: "a", at: "then", body}});
      const weight = saved("1", {{fact: fact("1", {{noted: {{type: "weight", grams: "42"}}}})}});
      const call = saved("2", {{fact: fact("2", {{}}), form: {{note: "Calm."}}, reading: "r"}});
      const photos = ["3", "4"].map((id) => saved(id, {{fact: fact(id, {{of: "2"}})}}));
      const files = ["4", "3"].map((id) => ({{id, bytes: id}}));
      return [m.formOf([weight, call, ...photos], files), m.formOf([weight], [])];
    }})()"""
    noted = {"at": "then", "reading": "r", "look": None}
    form = {"note": "Calm.", "grams": "42", "photos": ["3", "4"], "noted": noted}
    assert modules("undo", script) == [form, None]


def test_what_a_keeper_is_told_of_what_left(modules: Any) -> None:
    script = f"""(() => {{ {SAVED}
      const of = (kind, more) => m.afterwards(
        saved("1", {{fact: {{id: "1", kind, about: "a", body: {{}}}}, ...more}}));
      const told = (found) => found && [found.told.slice(0, 26), found.page ?? null];
      return [
        of("call_made", {{}}), of("call_made", {{tries: 1}}), of("call_made", {{carried: 1}}),
        of("call_made", {{tries: 1, state: "accepted"}}), of("season_noted", {{state: "accepted"}}),
        of("husbandry_noted", {{tries: 1, state: "accepted"}}),
      ].map(told);
    }})()"""
    assert modules("afterwards", script) == [
        None,
        ["The log may hold it by now", None],
        ["It is in a file that was s", None],
        ["It is in the log and stays", "/calls/1/withdrawal"],
        ["It is in the log and stays", "/pairings/a/notes/1/withdrawal"],
        None,
    ]


def test_what_the_server_last_had_is_the_last_also_of_a_blind_guest(modules: Any) -> None:
    script = """(() => {
      const latest = {kind: "husbandry_noted", at: "2026-11-30T12:00:00Z", position: 7};
      const id = "0199d5c0-0000-7000-8000-000000000000";
      const own = (position) => ({own_call: {id, position}});
      const position = (...given) => m.lastHad(...given)?.position ?? null;
      return [
        position(null, []), position(latest, []), position(latest, [{rows: [own(9), {}]}]),
        position(latest, [{rows: [own(3)]}, {rows: null}]),
        m.lastHad(null, [{rows: [own(3)]}]).at === parseInt("0199d5c00000", 16),
      ];
    })()"""
    assert modules("last_had", script) == [None, 7, 9, 7, True]


def test_a_marker_says_when_and_how_much_and_nothing_else(modules: Any) -> None:
    script = """(() => {
      const cookie = m.asCookie({at: 1_800_000_012_345, waits: 3}, true);
      return [cookie, m.markerIn(`a=b; ${cookie.split("; ")[0]}`), m.markerIn(""),
        m.markerIn("rackside-was="), m.markerIn("rackside-was=x.y"), m.noCookie(false)];
    })()"""
    assert modules("marker", script) == [
        "rackside-was=1800000000000.3; Max-Age=34560000; Path=/rackside/; SameSite=Strict; Secure",
        {"at": 1_800_000_000_000, "waits": 3},
        None,
        None,
        None,
        "rackside-was=; Max-Age=0; Path=/rackside/; SameSite=Strict",
    ]


def test_an_entry_is_either_sent_or_undone_put_aside_or_carried_off(modules: Any) -> None:
    """Whichever of two asks the store first; of a group, all or nothing."""
    script = f"""(async () => {{ {SAVED}
      const u = await import("/rackside/pure/undo.js");
      const ways = {{
        undo: (ids) => m.undo(ids, null).then((end) => end === "taken"),
        shelve: (ids) => m.changeAll(ids, u.isUntried, (one) => ({{...one, state: "aside"}})),
        send: (_, all) => m.claim(all.slice(1), 5).then((going) => going.length > 0),
        carry: () => m.carry("k", 5).then((carried) => carried.length > 0),
      }};
      const tried = {{}};
      for (const one of Object.keys(ways)) {{
        for (const other of Object.keys(ways)) {{
          if (one === other || [one, other].sort().join() === "carry,send") continue;
          const all = [saved("1"), saved("2", {{call: "1"}})];
          const ids = ["1", "2"];
          await m.save(all, [], {{}});
          const won = await Promise.all([one, other].map((way) => ways[way](ids, all)));
          tried[`${{one}} ${{other}}`] = won;
          const back = (each) => ({{...each, state: "aside", tries: 0, carried: 0}});
          await m.changeAll(ids, () => true, back);
          await m.remove(ids);
        }}
      }}
      return tried;
    }})()"""
    tried = modules("store/outbox", script)
    assert len(tried) == 10
    assert set(map(tuple, tried.values())) == {(True, False)}


def test_what_is_long_on_record_is_forgotten_and_nothing_else(modules: Any) -> None:
    script = f"""(async () => {{ {SAVED}
      const db = await import("/rackside/store/db.js");
      const day = 86_400_000, now = 91 * day;
      const found = {{order: 0, state: "accepted", place: {{holds: true}}}};
      const made = (id, more = {{}}, body = {{}}, kind = "husbandry_noted") =>
        saved(id, {{...found, fact: {{id, kind, about: "a", body}}, ...more}});
      await m.save([
        made("1"), made("2", {{order: 2 * day}}), made("3", {{place: {{holds: false}}}}),
        made("4", {{}}, {{}}, "call_made"), made("5", {{}}, {{of: "4"}}),
        made("6", {{state: "refused"}}),
        made("7", {{state: "saved"}}), made("8", {{file: "waiting"}}),
        made("9", {{place: undefined}}),
      ], [], {{}});
      await m.forgetOld(now);
      const left = (await db.all("outbox")).map(({{id}}) => id).join("");
      await db.forget();
      return left;
    }})()"""
    assert modules("store/outbox", script) == "23456789"

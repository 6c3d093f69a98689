"""What the server let this device see: animals, facts about them, collections, visits.

Nothing is worked out here that the server did not send: a blind device holds no more than the
feed gave it, and what a purge names is gone from the file.
"""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from operator import itemgetter
from typing import Any, NamedTuple

import msgspec

from scalewitness.domain.identifiers import parse_transponder
from scalewitness.domain.moments import parse_moment
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store

Shown = dict[str, Any]
_read = msgspec.json.decode


def animals(store: Store) -> list[Shown]:
    """By tag, which follows nothing about the sex."""
    found: list[Shown] = [_read(row["content"]) for row in store.rows("SELECT * FROM animal")]
    return sorted(found, key=lambda one: (code_of(one), one["id"]))


def animal(store: Store, id: str) -> Shown | None:
    rows = store.rows("SELECT content FROM animal WHERE id = ?", id)
    return _read(rows[0]["content"]) if rows else None


def facts_about(store: Store, animal: str) -> list[Shown]:
    """In the log's order."""
    rows = store.rows("SELECT content FROM fact WHERE about = ? ORDER BY position", animal)
    return [_read(row["content"]) for row in rows]


class KeptFact(NamedTuple):
    """A fact as `shown`, and the bytes that its entry is kept in."""

    shown: Shown
    entry: bytes


class Record(NamedTuple):
    """An animal as it is shown and all facts about it, in the log's order; None and none where it
    is out of sight."""

    seen: Shown | None
    facts: Sequence[KeptFact]


def records(store: Store, animals: Sequence[str]) -> dict[str, Record]:
    """Of many animals at once."""
    marks = ",".join("?" * len(animals))
    sql = f"SELECT * FROM fact WHERE about IN ({marks}) ORDER BY position"  # noqa: S608  marks only
    about: dict[str, list[KeptFact]] = {id: [] for id in animals}
    for row in store.rows(sql, *animals):
        content = row["content"]
        about[row["about"]].append(KeptFact(_read(content), bytes(_entry_in(content).entry)))
    seen = {id: animal(store, id) for id in animals}
    return {id: Record(seen[id], about[id] if seen[id] else ()) for id in animals}


def record_in(snapshot: Shown) -> Record:
    """What a snapshot of the feed leaves here."""
    found = sorted(snapshot["facts"], key=itemgetter("position"))
    return Record(snapshot["animal"], [KeptFact(one, _bytes(one["entry"])) for one in found])


class _Entry(msgspec.Struct):
    entry: msgspec.Raw


_entry_in = msgspec.json.Decoder(_Entry).decode


def about_joining(store: Store) -> set[str]:
    """The animals that were said to be another record's, or not to be."""
    sql = """SELECT DISTINCT about FROM fact WHERE content LIKE '%"kind":"joining_%'
             OR content LIKE '%"kind":"parting_%'"""
    return {row["about"] for row in store.rows(sql)}


def visits(store: Store) -> list[Shown]:
    found: list[Shown] = [_read(row["content"]) for row in store.rows("SELECT * FROM visit")]
    return sorted(found, key=lambda one: str(one["opens"]))


def sheet(store: Store, visit: str) -> list[Shown]:
    """The animals of a visit, each with ``own_call`` once there is one."""
    rows = store.rows(
        "SELECT content, own_call FROM sheet_row JOIN animal ON animal.id = sheet_row.animal "
        "WHERE visit = ?",
        visit,
    )
    found = [_read(row["content"]) | {"own_call": row["own_call"]} for row in rows]
    return sorted(found, key=lambda one: (code_of(one), one["id"]))


def sheet_ahead(store: Store, visit: str) -> list[Shown]:
    """The animals of a visit as they were handed over before it opens: nothing to be shown
    until then."""
    rows = store.rows("SELECT content FROM ahead WHERE visit = ?", visit)
    found: list[Shown] = [_read(row["content"]) for row in rows]
    return sorted(found, key=lambda one: (code_of(one), one["id"]))


def opened_by_clock(visit: Shown, now: datetime) -> bool:
    """Whether a visit that was accepted at the last sync has opened by itself since."""
    return visit["state"] == "accepted" and _within(visit, now)


def animals_at(store: Store, now: datetime) -> list[Shown]:
    """The animals known here, with those of visits that have opened since the last sync."""
    found = {
        one["id"]: one
        for visit in visits(store)
        if opened_by_clock(visit, now)
        for one in sheet_ahead(store, visit["id"])
    }
    found |= {one["id"]: one for one in animals(store)}
    return sorted(found.values(), key=lambda one: (code_of(one), one["id"]))


def visit_covering(store: Store, animal: str, at: str) -> str | None:
    """The visit, open at ``at``, on whose sheet the animal is."""
    when = parse_moment(at)
    for visit in visits_with(store, animal):
        if _within(visit, when):
            return str(visit["id"])
    return None


def visits_with(store: Store, animal: str) -> list[Shown]:
    """The visits on whose sheet the animal is, open or to come."""
    sql = (
        "SELECT visit FROM sheet_row WHERE animal = ? UNION SELECT visit FROM ahead "
        "WHERE animal = ?"
    )
    on = {row["visit"] for row in store.rows(sql, animal, animal)}
    return [
        one for one in visits(store) if one["id"] in on and one["state"] in {"open", "accepted"}
    ]


def _within(visit: Shown, when: datetime) -> bool:
    return parse_moment(visit["opens"]) <= when <= parse_moment(visit["closes"])


def collections(store: Store) -> dict[str, Shown]:
    """The collections this keeper holds, shares or may look at, by id."""
    rows = store.rows("SELECT * FROM collection")
    return {row["id"]: _read(row["content"]) for row in rows}


def is_steward(store: Store, shown: Shown) -> bool:
    """Whether this keeper holds the animal or shares in the collection it is in."""
    found = collections(store).get(shown.get("collection", {}).get("id", ""), {})
    return found.get("role") in {"keeper", "partner"}


def find(store: Store, word: str, now: datetime) -> Shown:
    """The animal with this tag, transponder code, name or id (or the end of one), known now.

    Raises:
        Stopped: there is none, or several.
    """
    everyone = animals_at(store, now)
    wanted = word.strip().casefold()
    exact = [one for one in everyone if wanted in _names(one)]
    found = exact or [one for one in everyone if len(wanted) >= 6 and one["id"].endswith(wanted)]
    if len(found) == 1:
        return found[0]
    if not found:
        raise Stopped(f"No animal “{word}” is known here; scalewitness sync fetches what is new.")
    ids = "".join(f"\n  {one['id']}  {code_of(one)}" for one in found)
    raise Stopped(f"“{word}” may be any of {len(found)} animals; name it by its id:{ids}")


def is_read(shown: Shown, identified: Shown) -> bool:
    """Whether the transponder read at a check is this animal's."""
    if identified.get("by") != "transponder":
        return False
    marks = ("transponder", parse_transponder(identified["code"]).code)
    return marks in {(one["scheme"], one["code"]) for one in shown.get("identifiers", [])}


def bearer(store: Store, identified: Shown, but: Shown, now: datetime) -> Shown | None:
    """The other animal known here whose transponder was read, if that was not this one's."""
    if is_read(but, identified):
        return None
    found = [one for one in animals_at(store, now) if is_read(one, identified)]
    return found[0] if len(found) == 1 else None


def code_of(shown: Shown) -> str:
    """Its tag, else its transponder code."""
    marks = shown.get("identifiers", [])
    tags = [one["code"] for one in marks if one["scheme"] == "tag"]
    return str(min(tags or [one["code"] for one in marks], default=""))


def _names(shown: Shown) -> set[str]:
    codes = {one["code"].casefold() for one in shown.get("identifiers", [])}
    name = str(shown.get("name") or "").casefold()
    return {*codes, shown["id"], *({name} if name else ())}


# --- writing, within a change -----------------------------------------------------------


def put_animal(connection: sqlite3.Connection, shown: Shown, pull: int) -> None:
    connection.execute(
        "INSERT OR REPLACE INTO animal VALUES (?, ?, ?)", (shown["id"], pull, _text(shown))
    )


def put_fact(connection: sqlite3.Connection, fact: Shown, pull: int) -> None:
    entry = fact["entry"]
    # The same from a snapshot as by itself.
    kept = {name: value for name, value in fact.items() if name not in {"type", "animal"}}
    connection.execute(
        "INSERT OR REPLACE INTO fact VALUES (?, ?, ?, ?, ?)",
        (entry["id"], fact["position"], entry["about"], pull, _text(kept)),
    )


def put_collection(connection: sqlite3.Connection, shown: Shown, pull: int) -> None:
    connection.execute(
        "INSERT OR REPLACE INTO collection VALUES (?, ?, ?)", (shown["id"], pull, _text(shown))
    )


def clear_animal(connection: sqlite3.Connection, id: str) -> None:
    """Everything the feed ever said of it; that it is on a sheet stays."""
    connection.execute("DELETE FROM animal WHERE id = ?", (id,))
    connection.execute("DELETE FROM fact WHERE about = ?", (id,))


def forget_animal(connection: sqlite3.Connection, id: str) -> None:
    clear_animal(connection, id)
    connection.execute("DELETE FROM sheet_row WHERE animal = ?", (id,))


def forget_collection(connection: sqlite3.Connection, id: str) -> None:
    connection.execute("DELETE FROM collection WHERE id = ?", (id,))
    connection.execute("DELETE FROM fact WHERE about = ?", (id,))


def forget_before(connection: sqlite3.Connection, pull: int) -> int:
    """What a resync from the beginning did not bring again; how many animals that was."""
    gone = connection.execute("SELECT id FROM animal WHERE pull < ?", (pull,)).fetchall()
    for row in gone:
        forget_animal(connection, row["id"])
    connection.execute("DELETE FROM fact WHERE pull < ?", (pull,))
    connection.execute("DELETE FROM collection WHERE pull < ?", (pull,))
    return len(gone)


def put_sheets(
    store: Store,
    visits: Iterable[Shown],
    sheets: Mapping[str, Iterable[Shown]],
    ahead: Mapping[str, Iterable[Shown]],
) -> None:
    """Replace the visits and their sheets, those of visits that open later ``ahead``."""
    with store.change() as connection:
        connection.execute("DELETE FROM visit")
        connection.execute("DELETE FROM sheet_row")
        connection.execute("DELETE FROM ahead")
        connection.executemany(
            "INSERT INTO visit VALUES (?, ?)", [(one["id"], _text(one)) for one in visits]
        )
        for id, rows in sheets.items():
            connection.executemany(
                "INSERT INTO sheet_row VALUES (?, ?, ?)",
                [(id, row["id"], (row.get("own_call") or {}).get("id")) for row in rows],
            )
        for id, rows in ahead.items():
            connection.executemany(
                "INSERT INTO ahead VALUES (?, ?, ?)", [(id, row["id"], _text(row)) for row in rows]
            )


def _text(content: Any) -> str:
    return _bytes(content).decode()


_bytes = msgspec.json.encode

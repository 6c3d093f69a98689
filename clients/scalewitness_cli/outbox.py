"""What was noted here and what became of it. Nothing leaves this list by itself.

An item is stored signed, in the very bytes the log will hold, before anything is sent; its id
makes sending it again safe. ``waiting`` items are sent; ``accepted`` ones have a position;
``held`` ones wait for a host, ``conflict`` and ``refused`` ones for whoever said them, ``clock``
ones too: this machine's clock was off, or may have been, when they were noted;
``dropped`` ones were given up by a person's word, and are kept all the same.
"""

import sqlite3
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any, Literal

import msgspec

from scalewitness_cli.devicekey import DeviceKey, Fact
from scalewitness_cli.remote import Stopped
from scalewitness_cli.store import Store, keep

Along = Callable[[sqlite3.Connection], None]
Handed = tuple[Literal["fact", "edit"], str, tuple[Fact, Fact]]
"""What another device said, with what it is about: as said, and as it is sent from here."""
State = Literal["waiting", "accepted", "held", "conflict", "refused", "dropped", "clock"]
OPEN: tuple[State, ...] = ("waiting", "held", "conflict", "refused", "clock")
MOST_ITEMS = 500
MOST_BYTES = 1_000_000
"""Of one push; the server takes four times that (our judgement, for weak lines)."""


class Item(msgspec.Struct, frozen=True, kw_only=True):
    """``said`` as it was said, ``sent`` as it goes to the server, signed by ``device``;
    ``earlier``: the forms it may have been sent in before, each with its device.
    ``answer``: the server's last outcome for it. ``receipt``: proof that the log
    holds it; ``fault``: why there is none."""

    seq: int
    id: str
    what: Literal["fact", "edit"]
    about: str
    said: dict[str, Any]
    sent: dict[str, Any]
    device: str
    earlier: list[dict[str, Any]]
    state: State
    attempted: bool
    position: int | None
    answer: dict[str, Any] | None
    stored_at: str
    settled_at: str | None
    receipt: str | None
    fault: str | None


_JSON = ("said", "sent", "earlier", "answer")


def items(store: Store, *states: State) -> list[Item]:
    """In the order they were said; those in any of ``states``."""
    marks = ", ".join("?" for _ in states)
    sql = f"SELECT * FROM outbox WHERE state IN ({marks}) ORDER BY seq"  # noqa: S608  marks only
    return [_item(row) for row in store.rows(sql, *states)]


def item_named(store: Store, beginning: str) -> Item:
    """The one item whose id begins or ends so.

    Raises:
        Stopped: none does, or several do.
    """
    wanted = beginning.lower()
    rows = store.rows("SELECT id FROM outbox ORDER BY seq")
    found = [
        row["id"] for row in rows if row["id"].startswith(wanted) or row["id"].endswith(wanted)
    ]
    if not wanted or len(found) != 1:
        raise Stopped(f"{len(found)} items here have an id like “{beginning}”.")
    return _item(store.rows("SELECT * FROM outbox WHERE id = ?", found[0])[0])


def add(
    store: Store, key: DeviceKey, facts: Iterable[Fact], now: str, along: Along | None = None
) -> list[Item]:
    """Sign facts and store them, all or none, with what is stored ``along``; on the disk when
    this returns.

    Raises:
        ValueError: one of them is not of its kind's shape.
    """
    signed = [(fact, key.signed(fact)) for fact in facts]
    with store.change() as connection:
        for fact, sent in signed:
            _insert(connection, "fact", fact["about"], (fact, sent), key.device, now)
        if along is not None:
            along(connection)
    ids = [fact["id"] for fact, _ in signed]
    return [_item(store.rows("SELECT * FROM outbox WHERE id = ?", id)[0]) for id in ids]


def add_new(store: Store, key: DeviceKey, groups: Iterable[Sequence[Fact]], now: str) -> list[int]:
    """Store groups of facts and edits, leaving out those whose ids are here already; how many
    of each group were stored."""
    ids = {row["id"] for row in store.rows("SELECT id FROM outbox")}
    stored = []
    with store.change() as connection:
        for group in groups:
            new = [one for one in group if one["id"] not in ids]
            for one in new:
                _add(connection, key, one, now)
            ids |= {one["id"] for one in new}
            stored.append(len(new))
    return stored


def _add(connection: sqlite3.Connection, key: DeviceKey, one: Fact, now: str) -> None:
    if "record" in one:
        about = one["record"].rpartition("/")[2]
        _insert(connection, "edit", about, (one, one), key.device, now)
    else:
        _insert(connection, "fact", one["about"], (one, key.signed(one)), key.device, now)


def take_over(
    store: Store,
    key: DeviceKey,
    handed: Iterable[Handed],
    photos: Mapping[str, bytes],
    now: str,
    along: Along,
) -> tuple[int, int]:
    """Store what another device may have sent, and ``along`` with it; how much of it is new."""
    stored = 0
    with store.change() as connection:
        along(connection)
        for what, about, forms in handed:
            id = (forms[0]["id"],)
            if connection.execute("SELECT 1 FROM outbox WHERE id = ?", id).fetchone():
                continue
            _insert(connection, what, about, forms, key.device, now)
            connection.execute("UPDATE outbox SET attempted = 1 WHERE id = ?", id)
            connection.execute("INSERT OR IGNORE INTO elsewhere VALUES (?)", id)
            stored += 1
        added = "INSERT OR IGNORE INTO photo VALUES (?, ?, 'waiting', NULL)"
        files = sum(connection.execute(added, one).rowcount for one in photos.items())
    return stored, files


def add_edit(store: Store, key: DeviceKey, edit: Fact, about: str, now: str) -> None:
    """Store an edit of a record: ``{id, record, base_version, fields}``."""
    with store.change() as connection:
        _insert(connection, "edit", about, (edit, edit), key.device, now)


def next_batch(store: Store, without: Collection[int] = ()) -> list[Item]:
    """What to send next, marked as tried; ``without`` items of these numbers. Of one record's
    edits only the first: the next may rest on what becomes of it."""
    batch: list[Item] = []
    edited: set[str] = set()
    size = 0
    for row in store.rows(
        "SELECT * FROM outbox WHERE state = 'waiting' ORDER BY seq LIMIT ?", MOST_ITEMS
    ):
        if row["seq"] in without:
            continue
        size += len(row["sent"])
        if batch and size > MOST_BYTES:
            break
        if row["what"] == "edit" and row["about"] in edited:
            continue
        edited |= {row["about"]} if row["what"] == "edit" else set()
        batch.append(_item(row))
    with store.change() as connection:
        connection.executemany(
            "UPDATE outbox SET attempted = 1 WHERE seq = ?", [(one.seq,) for one in batch]
        )
    return batch


def settle(store: Store, batch: Sequence[Item], outcomes: Sequence[Any], now: str) -> None:
    """Note what became of a batch, in one go.

    Raises:
        Stopped: the answer does not fit what was sent; nothing is noted.
    """
    if not all(
        outcome.get("id") in {one.id, None} for one, outcome in zip(batch, outcomes, strict=True)
    ):
        raise Stopped("The server's answer does not fit what was sent; it stays unsent.")
    with store.change() as connection:
        for one, outcome in zip(batch, outcomes, strict=True):
            state = _STATES.get(outcome["status"])
            if state is None:
                continue  # A later server's word: asked again next time.
            connection.execute(
                "UPDATE outbox SET state = ?, position = ?, answer = ?, settled_at = ? "
                "WHERE seq = ?",
                (state, outcome.get("position"), _text(outcome), now, one.seq),
            )
            if one.what == "edit" and state == "accepted":
                _rebase(connection, one, outcome.get("version"))


_STATES: dict[str, State] = {
    "accepted": "accepted",
    "duplicate": "accepted",
    "held": "held",
    "conflict": "conflict",
    "refused": "refused",
}


def _rebase(connection: sqlite3.Connection, done: Item, version: int | None) -> None:
    """Later edits of the same fields were made on top of this one, not of what it replaced."""
    if version is None:
        return
    later = connection.execute(
        "SELECT * FROM outbox WHERE what = 'edit' AND about = ? AND state = 'waiting' "
        "AND attempted = 0 AND seq > ?",
        (done.about, done.seq),
    ).fetchall()
    for one in map(_item, later):
        if one.sent["fields"].keys() & done.sent["fields"].keys():
            sent = _text(one.sent | {"base_version": version})
            connection.execute("UPDATE outbox SET sent = ? WHERE seq = ?", (sent, one.seq))


def restate(store: Store, item: Item, key: DeviceKey, stated: Fact) -> None:
    """Have an item that nobody took sent in another form under the same id, signed anew."""
    with store.change() as connection:
        connection.execute("UPDATE outbox SET said = ? WHERE seq = ?", (_text(stated), item.seq))
        _resign(connection, msgspec.structs.replace(item, said=stated), key)
        set_state(connection, item.id, "waiting")


def set_state(connection: sqlite3.Connection, id: str, state: State) -> None:
    """Within a change."""
    connection.execute("UPDATE outbox SET state = ? WHERE id = ?", (state, id))


def resign(store: Store, key: DeviceKey) -> None:
    """Sign what waits with a new device's key; the ids stay, so nothing can double."""
    waiting = items(store, "waiting")
    with store.change() as connection:
        for one in waiting:
            _resign(connection, one, key)


def _resign(connection: sqlite3.Connection, item: Item, key: DeviceKey) -> None:
    if item.what == "edit":
        return
    # The salts of its texts are drawn once: the commitments in the log must stay theirs.
    again = key.signed(item.said, texts=item.sent.get("texts"))
    if _text(again) != _text(item.sent):
        earlier = [*item.earlier, item.sent | {"device": item.device}]
        connection.execute(
            "UPDATE outbox SET sent = ?, device = ?, earlier = ? WHERE seq = ?",
            (_text(again), key.device, _text(earlier), item.seq),
        )


def drop(store: Store, item: Item, now: str) -> None:
    """Give an item up; it stays on the list of what was dropped.

    Raises:
        Stopped: it may be in the log already.
    """
    if item.state == "accepted" or (item.state == "waiting" and item.attempted):
        raise Stopped(
            "It is in the log, or may be: it was sent. What is in the log can be withdrawn, "
            "not dropped."
        )
    with store.change() as connection:
        connection.execute(
            "UPDATE outbox SET state = 'dropped', settled_at = ? WHERE seq = ?", (now, item.seq)
        )


def replace_edit(store: Store, key: DeviceKey, old: Item, edit: Fact, now: str) -> None:
    """Say an edit again on top of what it conflicted with."""
    with store.change() as connection:
        connection.execute(
            "UPDATE outbox SET state = 'dropped', settled_at = ? WHERE seq = ?", (now, old.seq)
        )
        _insert(connection, "edit", old.about, (edit, edit), key.device, now)


def unproved(store: Store, since: int = 0, below: int = 2**53) -> list[Item]:
    """Accepted facts at positions from ``since`` to before ``below`` that no receipt is kept
    of, in the log's order. What another device had sent before it was taken over is in the log
    under that one's signature, which is not known here."""
    return [
        _item(row)
        for row in store.rows(
            "SELECT * FROM outbox WHERE what = 'fact' AND state = 'accepted' AND receipt IS NULL "
            "AND NOT (coalesce(json_extract(answer, '$.status'), '') = 'duplicate' "
            "AND id IN (SELECT id FROM elsewhere)) "
            "AND position >= ? AND position < ? ORDER BY position",
            since,
            below,
        )
    ]


class Lost(msgspec.Struct, frozen=True):
    """An item that the log ``origin`` had accepted at ``position`` and its successor has not."""

    origin: str
    position: int
    receipt: str | None


def offer_again(store: Store, lost: Sequence[Item], origin: str) -> None:
    """Have items that a log lost sent again as they stand, under their ids. What shows that it
    had accepted them is kept. So are edits that it took: it knows by their ids those it still
    has."""
    with store.change() as connection:
        for one in lost:
            if one.position is not None:
                kept = Lost(origin, one.position, one.receipt)
                keep(connection, f"{LOST}{one.id}", _text(msgspec.to_builtins(kept)))
        connection.executemany(
            f"UPDATE outbox SET {AGAIN} WHERE seq = ?",  # noqa: S608  a constant
            [(one.seq,) for one in lost],
        )
        connection.execute(
            f"UPDATE outbox SET {AGAIN} WHERE what = 'edit' AND state = 'accepted'"  # noqa: S608
        )


LOST = "lost:"
AGAIN = (
    "state = 'waiting', attempted = 1, position = NULL, answer = NULL, settled_at = NULL, "
    "receipt = NULL, fault = NULL"
)


def lost(store: Store) -> dict[str, Lost]:
    """Items that a closed log had accepted and lost, by id; of each the first log that did."""
    rows = store.rows("SELECT name, content FROM kept WHERE name LIKE ?", f"{LOST}%")
    return {
        row["name"].removeprefix(LOST): msgspec.json.decode(row["content"], type=Lost)
        for row in rows
    }


def keep_receipt(store: Store, item: Item, receipt: str | None, fault: str | None) -> None:
    with store.change() as connection:
        connection.execute(
            "UPDATE outbox SET receipt = ?, fault = ? WHERE seq = ?", (receipt, fault, item.seq)
        )


def counts(store: Store) -> dict[str, int]:
    """How many items are in each state."""
    rows = store.rows("SELECT state, count(*) AS number FROM outbox GROUP BY state")
    return {row["state"]: row["number"] for row in rows}


def faults(store: Store) -> list[Item]:
    """Accepted items that the log was found not to hold."""
    return [_item(row) for row in store.rows("SELECT * FROM outbox WHERE fault IS NOT NULL")]


def known_elsewhere(store: Store, since: str) -> list[str]:
    """Transponder numbers taken from then on (RFC 3339, UTC) that another record bore first."""
    sql = (
        "SELECT * FROM outbox WHERE state = 'accepted' AND settled_at >= ? "
        "AND answer LIKE '%known_elsewhere%' ORDER BY seq"
    )
    return [one.said["body"]["code"] for one in map(_item, store.rows(sql, since))]


def _insert(
    connection: sqlite3.Connection,
    what: str,
    about: str,
    forms: tuple[Fact, Fact],
    device: str,
    now: str,
) -> None:
    stated, sent = forms
    connection.execute(
        "INSERT INTO outbox "
        "(id, what, about, said, sent, device, earlier, state, attempted, stored_at) "
        "VALUES (?, ?, ?, ?, ?, ?, '[]', 'waiting', 0, ?)",
        (stated["id"], what, about, _text(stated), _text(sent), device, now),
    )


def _item(row: sqlite3.Row) -> Item:
    content = {name: row[name] for name in row.keys()}  # noqa: SIM118  rows iterate over values
    for name in _JSON:
        content[name] = None if content[name] is None else msgspec.json.decode(content[name])
    return msgspec.convert(content | {"attempted": bool(content["attempted"])}, Item)


def _text(content: Any) -> str:
    return msgspec.json.encode(content).decode()

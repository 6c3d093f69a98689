"""Facts in this keeper's own name: which of them no device of theirs is known to have signed.

Every one that the feed brings is noted with the page that brought it, judged after the pull, and
never forgotten: neither a purge nor a fresh start of the feed lets the server bring it again in
another form unseen.
"""

import sqlite3
from collections.abc import Iterable
from hashlib import sha256
from typing import Any

import msgspec

from scalewitness.domain.translog.canonical import canonical_bytes
from scalewitness.domain.translog.leaf import STATED, Leaf, leaf_bytes, read_leaf
from scalewitness.domain.translog.own_word import ALARMING, OF_KEYS, Doubt, OwnWord, own_word
from scalewitness_cli.alarms import alarm_id
from scalewitness_cli.identity import Identity
from scalewitness_cli.outbox import Item, item_named
from scalewitness_cli.receipts import statements_of
from scalewitness_cli.store import Store, keep

Shown = dict[str, Any]
TRUSTED = "trusted_keys"
"""Public keys that the keeper said are theirs, by name among what is kept."""
QUIET = "page"
"""The doubt that raises no alarm: the keeper, or whoever has their password, on a page."""


class InMyName(msgspec.Struct, frozen=True, kw_only=True):
    """A fact that no trusted key signed. ``id``: eight hex digits that name it here; ``entry``: as
    the log has it; ``answer``: what its keeper said of it."""

    id: str
    fact: str
    position: int
    kind: str
    device: str | None
    at: str
    why: Doubt
    entry: Shown
    answer: str | None = None

    @property
    def leaf(self) -> bytes:
        """The bytes that the log hashed; of what no log could hold, what the server sent."""
        try:
            return canonical_bytes(self.entry)
        except ValueError:
            return msgspec.json.encode(self.entry)

    @property
    def alarms(self) -> bool:
        """Whether a record that keeps its rules would never have taken it."""
        return self.why in ALARMING


def note(connection: sqlite3.Connection, keeper: str | None, fact: Shown) -> None:
    """Within the change that takes the fact in: keep it to be judged, if it is in the keeper's
    name and not the very one that was judged before."""
    entry = fact["entry"]
    if keeper is None or entry.get("by") != keeper:
        return
    content = msgspec.json.encode({"entry": entry, "position": fact["position"]}).decode()
    connection.execute(
        "INSERT INTO in_my_name VALUES (?, ?, ?, ?, ?, NULL, NULL) ON CONFLICT (id) DO UPDATE SET "
        "position = excluded.position, content = excluded.content, digest = excluded.digest, "
        "why = NULL, answer = NULL WHERE digest <> excluded.digest",
        (entry["id"], fact["position"], entry["kind"], content, _digest(content)),
    )


def judge(store: Store, identity: Identity) -> list[InMyName]:
    """Judge what is new, and anew what is in doubt; all that stands unanswered, by position."""
    word = _word(store, identity)
    rows = store.rows(
        "SELECT * FROM in_my_name WHERE why IS NULL OR (why <> '' AND answer IS NULL)"
    )
    with store.change() as connection:
        for row in rows:
            why = _doubt(store, identity, word, row)
            settled = why is None and row["kind"] not in OF_KEYS
            connection.execute(
                "UPDATE in_my_name SET why = ?, content = ? WHERE id = ?",
                (why or "", None if settled else row["content"], row["id"]),
            )
    return doubted(store)


def doubted(store: Store) -> list[InMyName]:
    """All that is in doubt and not set aside, by position."""
    rows = store.rows(
        "SELECT * FROM in_my_name WHERE why <> '' AND (answer IS NULL OR answer = 'not mine') "
        "ORDER BY position"
    )
    return [_shown(row) for row in rows]


def alarmed(store: Store) -> list[InMyName]:
    """Of those in doubt, all but what was made on a page."""
    return [one for one in doubted(store) if one.why != QUIET or one.answer]


def answer(store: Store, facts: Iterable[InMyName], reply: str) -> None:
    """What the keeper says of them: ``mine``, ``not mine``, or why the matter is closed. A key
    that signed what is theirs is theirs, and trusted here from now on."""
    listed = list(facts)
    with store.change() as connection:
        connection.executemany(
            "UPDATE in_my_name SET answer = ? WHERE id = ?", [(reply, one.fact) for one in listed]
        )
        if reply == "mine":
            devices = {one.device for one in listed if one.why == "by_password"}
            keys = {one for device, one in _keys(store).items() if device in devices}
            trusted = sorted({*_trusted(store), *keys})
            keep(connection, TRUSTED, msgspec.json.encode(trusted).decode())


def trust_key(store: Store, public: str) -> None:
    """Whoever typed the key here has it: it is theirs."""
    with store.change() as connection:
        trusted = sorted({*_trusted(store), public})
        keep(connection, TRUSTED, msgspec.json.encode(trusted).decode())


def _word(store: Store, identity: Identity) -> OwnWord:
    return own_word({identity.key.public, *_trusted(store)}, _of_keys(store))


def _of_keys(store: Store) -> list[tuple[int, Leaf]]:
    marks = ", ".join("?" for _ in OF_KEYS)
    sql = f"SELECT position, content FROM in_my_name WHERE kind IN ({marks})"  # noqa: S608  marks
    found = [(row["position"], _leaf(row["content"])) for row in store.rows(sql, *sorted(OF_KEYS))]
    return [(position, leaf) for position, leaf in found if leaf is not None]


def _keys(store: Store) -> dict[str, str]:
    return own_word((), _of_keys(store)).keys


def _trusted(store: Store) -> list[str]:
    return msgspec.json.decode(store.kept(TRUSTED) or "[]", type=list[str])


def _doubt(store: Store, identity: Identity, word: OwnWord, row: sqlite3.Row) -> Doubt | None:
    leaf = _leaf(row["content"])
    if leaf is None:
        return "forged"
    why = word.doubt(leaf, row["position"])
    if why is None or not store.rows("SELECT 1 FROM outbox WHERE id = ?", row["id"]):
        return why
    return None if _is_the_same(item_named(store, row["id"]), identity, leaf) else why


def _is_the_same(item: Item, identity: Identity, leaf: Leaf) -> bool:
    """Whether it is what was said on this machine, in a form that it was sent in."""
    if item.what != "fact":
        return False
    members = {name: getattr(leaf, name) for name in STATED}
    return leaf_bytes(**members, sig=leaf.sig) in statements_of(item, identity)


def _leaf(content: str) -> Leaf | None:
    """None: no entry of a log is like that."""
    try:
        return read_leaf(canonical_bytes(msgspec.json.decode(content)["entry"]))
    except ValueError:
        return None


def _digest(content: str) -> str:
    return sha256(content.encode()).hexdigest()


def _shown(row: sqlite3.Row) -> InMyName:
    entry = msgspec.json.decode(row["content"])["entry"]
    return InMyName(
        id=alarm_id("in_my_name", row["id"], row["digest"]),
        fact=row["id"],
        position=row["position"],
        kind=row["kind"],
        device=entry.get("device"),
        at=str(entry.get("at")),
        why=row["why"],
        entry=entry,
        answer=row["answer"],
    )

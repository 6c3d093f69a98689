"""Those whose checks a keeper reports: named to the record beforehand, by an id of their own.

The log holds the id alone. A name is kept here so that whoever is reported again keeps it, with or
without a signal; it is sent before what was reported of them.
"""

import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from scalewitness_cli.remote import Api, Refusal
from scalewitness_cli.store import Store

MOST = 120
"""Characters of a name that the record takes."""
NO_LIST = 405
"""How an earlier server answers that lists nobody."""


def known(store: Store, name: str) -> str | None:
    """The id of whoever was named so, the record's word before this device's."""
    found = store.rows(
        "SELECT id FROM practitioner WHERE name = ? ORDER BY named DESC, id LIMIT 1", name
    )
    return str(found[0]["id"]) if found else None


def keep_names(connection: sqlite3.Connection, named: Mapping[str, str]) -> None:
    """Within a change: names by id that the record is still to be told."""
    connection.executemany("INSERT OR IGNORE INTO practitioner VALUES (?, ?, 0)", named.items())


def send_names(store: Store, api: Api) -> None:
    """Name those to the record whom it does not know yet. Where it refuses one, so will it what
    is reported of them, and says why."""
    for row in store.rows("SELECT id, name FROM practitioner WHERE named = 0"):
        try:
            api.post("practitioners", {"id": row["id"], "name": row["name"]})
        except Refusal as refusal:
            if refusal.status != 422:
                raise
            continue
        with store.change() as connection:
            connection.execute("UPDATE practitioner SET named = 1 WHERE id = ?", (row["id"],))


def fetch_names(store: Store, api: Api) -> None:
    """Keep whom the record knows of, also from elsewhere."""
    try:
        items: Iterable[Mapping[str, Any]] = api.get("practitioners")["items"]
    except Refusal as refusal:
        if refusal.status != NO_LIST:
            raise
        return
    with store.change() as connection:
        connection.execute("DELETE FROM practitioner WHERE named = 1")
        connection.executemany(
            "INSERT OR REPLACE INTO practitioner VALUES (?, ?, 1)",
            [(one["id"], one["name"]) for one in items],
        )


def forget_names(connection: sqlite3.Connection) -> None:
    """Within a change: all but those that the record is still to be told."""
    connection.execute("DELETE FROM practitioner WHERE named = 1")

"""Reading the feed of changes into the replica: one page, one commit, the cursor with it."""

import sqlite3
from typing import Any

from scalewitness_cli.identity import identity_of
from scalewitness_cli.own_word import note
from scalewitness_cli.remote import Unreachable
from scalewitness_cli.replica import (
    Record,
    clear_animal,
    forget_animal,
    forget_before,
    forget_collection,
    put_animal,
    put_collection,
    put_fact,
    record_in,
)
from scalewitness_cli.store import Store, keep
from scalewitness_cli.whose_log import note_origin

PAGE = 100
"""Changes: while one page is stored and what it brings is proved, the next is made."""

Page = dict[str, Any]


def cursor_of(store: Store) -> str | None:
    return store.kept("cursor")


def begin_again(store: Store) -> None:
    """The server cannot go on from the cursor. What is here stays readable until everything
    has come anew; then whatever did not come again is forgotten. The outbox is not touched."""
    with store.change() as connection:
        keep(connection, "cursor", None)
        keep(connection, "pull", str(_pull(store) + 1))
        keep(connection, "resyncing", "yes")


def store_page(store: Store, page: Page) -> int:
    """Take a page in; how many animals were purged.

    Raises:
        Unreachable: it is no page of changes; nothing is taken.
    """
    items, cursor = page.get("items"), page.get("cursor")
    if not isinstance(items, list) or not isinstance(cursor, str):
        raise Unreachable(f"{store.url} answers something that is not a page of changes.")
    pull, purged, keeper = _pull(store), 0, _keeper(store)
    with store.change() as connection:
        for item in items:
            purged += _take(connection, item, pull)
            for fact in _facts(item):
                note(connection, keeper, fact)
        if not page.get("more") and store.kept("resyncing"):
            purged += forget_before(connection, pull)
            keep(connection, "resyncing", None)
        keep(connection, "cursor", cursor)
        note_origin(connection, page)
    if purged:
        store.forget_freed()
    return purged


def cursor_after(page: Page) -> str | None:
    """Where to go on; None: that was all, or it is no page of changes."""
    cursor = page.get("cursor") if page.get("more") else None
    return cursor if isinstance(cursor, str) else None


def whole_in(page: Page) -> dict[str, Record]:
    """The records that a page brings whole, as they are kept."""
    found = (one for one in page["items"] if one.get("type") == "snapshot")
    return {
        one["animal"]["id"]: record_in(one) for one in found if one["animal"].get("sight") == "all"
    }


def _keeper(store: Store) -> str | None:
    found = identity_of(store)
    return found.keeper if found else None


def _facts(item: Page) -> list[Page]:
    return [item] if item.get("type") == "fact" else list(item.get("facts", ()))


def _take(connection: sqlite3.Connection, item: Page, pull: int) -> int:
    """1 for an animal purged. What a later server sends besides is left alone."""
    match item.get("type"):
        case "purge":
            return _purge(connection, item)
        case "snapshot":
            clear_animal(connection, item["animal"]["id"])
            put_animal(connection, item["animal"], pull)
            for fact in item["facts"]:
                put_fact(connection, fact, pull)
        case "fact":
            put_fact(connection, item, pull)
            if "animal" in item:
                put_animal(connection, item["animal"], pull)
        case "animal":
            put_animal(connection, item["animal"], pull)
        case "collection":
            put_collection(connection, item["collection"], pull)
    return 0


def _purge(connection: sqlite3.Connection, item: Page) -> int:
    if "animal" not in item:
        forget_collection(connection, item["collection"])
        return 0
    forget_animal(connection, item["animal"])
    return 1


def _pull(store: Store) -> int:
    """Counts how often everything was fetched from the beginning."""
    return int(store.kept("pull") or "0")

"""Whose log the positions kept here are of, as the server says with them: for words, and for
nothing that is checked."""

import sqlite3
from collections.abc import Mapping
from typing import Any, Final

from scalewitness_cli.store import Store, keep

ORIGIN: Final = "log_origin"
"""Under this name it is in answers, in the store, and in what the command prints for programs."""


def note_origin(connection: sqlite3.Connection, answer: Mapping[str, Any]) -> None:
    if isinstance(origin := answer.get(ORIGIN), str):
        keep(connection, ORIGIN, origin)


def origin_of(store: Store) -> str | None:
    """None before anything was read."""
    return store.kept(ORIGIN)

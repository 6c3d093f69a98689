"""What this device keeps of one server: who it is there, what it has to send, what it may see.

One SQLite file, in WAL mode with every commit on the disk before it returns
(``synchronous=FULL``), and freed pages overwritten (``secure_delete``), so that what a purge
takes away is gone from the file too. Only its owner may read it: it holds the device's token
and key.
"""

import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from shutil import rmtree
from types import TracebackType

from scalewitness_cli.locking import sync_folder
from scalewitness_cli.remote import Stopped

VARIABLE = "SCALEWITNESS_DATA"
"""Names another folder to keep data in."""
VERSION = 6
BUSY_SECONDS = 30.0

SCHEMA = """
CREATE TABLE identity (
  one INTEGER PRIMARY KEY CHECK (one = 1), content TEXT NOT NULL
) STRICT;
CREATE TABLE outbox (
  seq INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, what TEXT NOT NULL,
  about TEXT NOT NULL, said TEXT NOT NULL, sent TEXT NOT NULL, device TEXT NOT NULL,
  earlier TEXT NOT NULL,
  state TEXT NOT NULL, attempted INTEGER NOT NULL, position INTEGER, answer TEXT,
  stored_at TEXT NOT NULL, settled_at TEXT, receipt TEXT, fault TEXT
) STRICT;
CREATE INDEX outbox_state ON outbox (state, seq);
CREATE TABLE kept (name TEXT PRIMARY KEY, content TEXT NOT NULL) STRICT;
CREATE TABLE animal (id TEXT PRIMARY KEY, pull INTEGER NOT NULL, content TEXT NOT NULL) STRICT;
CREATE TABLE fact (
  id TEXT PRIMARY KEY, position INTEGER NOT NULL, about TEXT, pull INTEGER NOT NULL,
  content TEXT NOT NULL
) STRICT;
CREATE INDEX fact_about ON fact (about, position);
CREATE TABLE visit (id TEXT PRIMARY KEY, content TEXT NOT NULL) STRICT;
CREATE TABLE sheet_row (
  visit TEXT NOT NULL, animal TEXT NOT NULL, own_call TEXT, PRIMARY KEY (visit, animal)
) STRICT;
CREATE TABLE collection (
  id TEXT PRIMARY KEY, pull INTEGER NOT NULL, content TEXT NOT NULL
) STRICT;
"""

ALL_ANEW = """
INSERT OR REPLACE INTO kept SELECT 'pull', CAST(1 + CAST(coalesce(
  (SELECT content FROM kept WHERE name = 'pull'), '0') AS INTEGER) AS TEXT);
INSERT OR REPLACE INTO kept VALUES ('resyncing', 'yes');
DELETE FROM kept WHERE name = 'cursor'
"""
"""Everything is fetched once more, as when the server cannot go on from where it was."""
SINCE = {
    1: """
CREATE TABLE photo (
  id TEXT PRIMARY KEY, data BLOB NOT NULL, state TEXT NOT NULL, fault TEXT
) STRICT;
""",
    2: """
CREATE TABLE reading (id TEXT PRIMARY KEY, content TEXT NOT NULL) STRICT;
CREATE TABLE ahead (
  visit TEXT NOT NULL, animal TEXT NOT NULL, content TEXT NOT NULL, PRIMARY KEY (visit, animal)
) STRICT;
CREATE TABLE elsewhere (id TEXT PRIMARY KEY) STRICT;
""",
    3: """
CREATE TABLE practitioner (
  id TEXT PRIMARY KEY, name TEXT NOT NULL, named INTEGER NOT NULL
) STRICT;
""",
    4: """
CREATE TABLE in_my_name (
  id TEXT PRIMARY KEY, position INTEGER NOT NULL, kind TEXT NOT NULL, content TEXT,
  digest TEXT NOT NULL, why TEXT, answer TEXT
) STRICT;
"""
    + ALL_ANEW,
    5: ALL_ANEW,
}
"""What each version added to the one before it."""


def data_folder(environ: Mapping[str, str] = os.environ) -> Path:
    """Where it is kept: by the XDG base directory specification, unless named."""
    if named := environ.get(VARIABLE):
        return Path(named)
    base = environ.get("XDG_DATA_HOME") or str(Path(environ.get("HOME", "~"), ".local", "share"))
    return Path(base, "scalewitness").expanduser()


def servers(folder: Path) -> list[str]:
    """The addresses of every server something is kept of."""
    names = sorted((folder / "servers").glob("*/address"))
    return [one.read_text(encoding="utf-8").strip() for one in names]


def used_servers(folder: Path) -> list[str]:
    """Those of a keeper: somebody is signed in there, or was."""
    found = []
    for url in servers(folder):
        with Store(folder, url) as store:
            if not store.unused:
                found.append(url)
    return found


class Store:
    """Of the server ``url``, in a folder of its own below ``folder``; made when first used."""

    def __init__(self, folder: Path, url: str) -> None:
        self.url = url.rstrip("/")
        self.folder = folder / "servers" / sha256(self.url.encode()).hexdigest()
        self._connection = self._open()

    def __enter__(self) -> "Store":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        self._connection.close()

    @contextmanager
    def change(self) -> Iterator[sqlite3.Connection]:
        """All of it or nothing; on the disk when it ends."""
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield self._connection
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")

    def rows(self, sql: str, *values: str | int | None) -> list[sqlite3.Row]:
        return self._connection.execute(sql, values).fetchall()

    def forget_freed(self) -> None:
        """Have nothing of what was deleted left in the log of writes beside the file."""
        self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    @property
    def unused(self) -> bool:
        """Nobody ever signed in, and nothing was said."""
        asked = "SELECT EXISTS (SELECT 1 FROM identity) OR EXISTS (SELECT 1 FROM outbox) AS used"
        return not self.rows(asked)[0]["used"]

    def discard(self) -> None:
        """Take it off the disk with all that is in it."""
        self.close()
        rmtree(self.folder, ignore_errors=True)

    def kept(self, name: str) -> str | None:
        """A value kept by name."""
        found = self.rows("SELECT content FROM kept WHERE name = ?", name)
        return str(found[0]["content"]) if found else None

    def _open(self) -> sqlite3.Connection:
        self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        path = self.folder / "store.sqlite"
        # Made beforehand, so that it is never there with the mode of other files.
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT, 0o600))
        try:
            connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
            self._prepare(connection)
        except sqlite3.DatabaseError as fault:
            raise Stopped(f"{path} cannot be used: {fault}") from None
        return connection

    def _prepare(self, connection: sqlite3.Connection) -> None:
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if version > VERSION:
            connection.execute("ROLLBACK")
            raise Stopped(f"{self.folder} was written by a later version of this command.")
        if version == 0:
            _make(connection, SCHEMA)
        for earlier in range(max(version, 1), VERSION):
            _make(connection, SINCE[earlier])
        connection.execute(f"PRAGMA user_version = {VERSION}")
        connection.execute("COMMIT")
        if version == 0:
            (self.folder / "address").write_text(f"{self.url}\n", encoding="utf-8")
            sync_folder(self.folder)


def _make(connection: sqlite3.Connection, statements: str) -> None:
    for statement in filter(str.strip, statements.split(";")):
        connection.execute(statement)


def keep(connection: sqlite3.Connection, name: str, content: str | None) -> None:
    """Within a change: keep a value by name, or forget it."""
    connection.execute("DELETE FROM kept WHERE name = ?", (name,))
    if content is not None:
        connection.execute("INSERT INTO kept VALUES (?, ?)", (name, content))

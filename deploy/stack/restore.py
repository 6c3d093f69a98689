"""Restore a backup: ``./deploy/restore SRC``.

Puts the dump into the empty database of DATABASE_OWNER_URL, else the demo's, with its log
fenced in the same transaction: there is no moment at which the copy could take a fact, sign
a checkpoint or send a letter. Then `python -m scalewitness adopt` opens it again, against a
checkpoint from outside. Stop the web server and the worker first.
"""

import argparse
import os
import shutil
import subprocess
import sys
from base64 import b64encode
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import msgspec
import psycopg

from scalewitness.domain.translog.keys import VerifierKey, read_signer, read_verifier
from scalewitness.domain.translog.notes import open_checkpoint
from stack.dumps import (
    DUMP,
    FORMAT,
    MANIFEST,
    Manifest,
    command,
    digest,
    given_owner,
    program,
    reaching,
    refuse,
)
from stack.local import ROOT, SOURCES, LocalStack
from stack.runfolder import FolderBusy, RunFolder
from stack.supervisor import Interrupted, ProcessFailed, Supervisor

REASON = "restored from a backup"
EMPTY = (
    "SET client_min_messages = warning;"
    " DROP SCHEMA public CASCADE; CREATE SCHEMA public; GRANT USAGE ON SCHEMA public TO PUBLIC;"
)
FENCE = f"""
INSERT INTO public.ledger_fence (state, reason, at, size, root, note)
SELECT 'raised', '{REASON}', now(), size, root, '' FROM public.ledger_head;
"""  # noqa: S608  constants of this module
OTHERS = (
    "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
    " AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
)
TABLES = "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'"
HEAD = "SELECT size, root FROM ledger_head"

NEXT = """
The log is fenced: it can be read, and takes, signs and sends nothing. Next:
  1. python -m scalewitness fsck       recomputes tree and projections from the entries
     python -m scalewitness replay     recomputes every standing
  2. Find the newest checkpoint outside this database: from a witness, a keeper's client, a
     buyer's receipt. The backup's own, and anything older, show nothing of what came after.
  3. python -m scalewitness adopt FILE...    opens the log if it continues all that is known
     outside, and one of these shows that it is whole: the file of LOG_MEMORY, if it outlived
     the database; a checkpoint that the backup did not hold; a witness's line made anew.
If adopt refuses for entries that are missing, look for a newer backup. It remembers that.
If there is none: see admit_loss in deploy/OPERATING.md."""


class Refused(Exception):
    """Nothing was changed; the text says why."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Restore a backup; returns the exit status."""
    given = _parse(arguments)
    try:
        manifest = read_backup(given.src)
        with _target(given.data) as (owner, environment):
            require_key(manifest, environment)
            require_target(owner, replace=given.replace)
            load(owner, given.src / DUMP, replace=given.replace)
            _python(environment, "-m", "scalewitness", "migrate", "--verbosity", "0")
            _compare(owner, manifest)
    except (Refused, ProcessFailed, Interrupted) as fault:
        return refuse(str(fault))
    except subprocess.CalledProcessError as fault:
        return refuse(f"Not restored: {Path(fault.cmd[0]).name} failed; its words are above.")
    except (psycopg.Error, OSError) as fault:
        return refuse(f"Not restored: {fault}")
    print(f"Restored {manifest.size} entries of {manifest.made_at}.{_of_bucket(manifest)}{NEXT}")
    return 0


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = command("restore", __doc__)
    parser.add_argument("src", type=Path, help="a folder that ./deploy/backup made")
    parser.add_argument(
        "--replace", action="store_true", help="first delete everything the database holds"
    )
    return parser.parse_args(arguments)


def read_backup(src: Path) -> Manifest:
    """The manifest of a backup whose dump is whole.

    Raises:
        Refused: it is no backup, of another format, or the dump is not the one it was.
    """
    try:
        manifest = msgspec.json.decode((src / MANIFEST).read_bytes(), type=Manifest)
        found = digest(src / DUMP)
    except (OSError, msgspec.DecodeError) as fault:
        raise Refused(f"{src} is no backup: {fault}") from None
    if manifest.format != FORMAT:
        raise Refused(f"{src} has format {manifest.format}; this version reads {FORMAT}.")
    if found != manifest.dump_sha256:
        raise Refused(f"{src / DUMP} is not what was backed up: its SHA-256 is {found}.")
    return manifest


@contextmanager
def _target(data: Path) -> Iterator[tuple[str, Mapping[str, str]]]:
    """The owner's address, and the environment to migrate in."""
    owner = given_owner(os.environ)
    paths = os.pathsep.join(str(ROOT / part) for part in SOURCES)
    if owner:
        environment = os.environ | {"PYTHONPATH": paths, "DATABASE_OWNER_URL": owner}
        # Names what is missing in the environment before anything is changed.
        _python(environment, "-c", "import scalewitness.settings")
        yield owner, environment
        return
    try:
        folder = RunFolder(data)
    except FolderBusy as busy:
        raise Refused(f"A demo runs in {data} ({busy}). Stop it first.") from None
    except NotADirectoryError as fault:
        raise Refused(str(fault)) from None
    with Supervisor(folder.path, lambda name, text: None, held=[folder.lock]) as supervisor:
        supervisor.listen()
        stack = LocalStack(supervisor, folder.path, port=8000, given={})
        stack.start_database()
        unused = {"REDIS_URL": "redis://127.0.0.1:1/0", "DATABASE_OWNER_URL": stack.owner_url}
        yield stack.owner_url, os.environ | stack.environment | unused


def require_key(manifest: Manifest, environment: Mapping[str, str]) -> None:
    """See that the environment's key is the one the log was signed under, or that one is among
    the retired.

    Raises:
        Refused: otherwise; under another key it would be another log.
    """
    retired = filter(None, environment.get("LOG_RETIRED_KEYS", "").split(","))
    held = filter(None, (environment["LOG_SIGNING_KEY"], environment.get("LOG_NEXT_KEY")))
    keys = [*(read_signer(one).verifier for one in held), *map(read_verifier, retired)]
    if manifest.checkpoint is None or any(_opens(manifest.checkpoint, key) for key in keys):
        return
    raise Refused(
        "Neither LOG_SIGNING_KEY nor LOG_RETIRED_KEYS holds the key this log was signed under. "
        "Put it there (the demo keeps it in log_key, in its folder): under another it is "
        "another log."
    )


def _opens(note: str, key: VerifierKey) -> bool:
    try:
        open_checkpoint(note, key)
    except ValueError:
        return False
    return True


def require_target(owner: str, *, replace: bool) -> None:
    """See that nobody uses the database, and that it is empty or may be emptied.

    Raises:
        Refused: otherwise.
    """
    with psycopg.connect(owner) as connection:
        if others := _number(connection, OTHERS):
            raise Refused(
                f"{others} other sessions use the database. Stop the web server and the worker."
            )
        if _number(connection, TABLES) and not replace:
            raise Refused(
                "The database is not empty. Restore into a new one, or --replace what it holds."
            )


def _number(connection: psycopg.Connection[tuple[object, ...]], statement: str) -> int:
    row = connection.execute(statement.encode()).fetchone()
    return int(str(row[0])) if row else 0


def load(owner: str, dump: Path, *, replace: bool) -> None:
    """Restore the dump and raise the fence, both or neither.

    Raises:
        subprocess.CalledProcessError: one of PostgreSQL's programs failed; nothing changed.
    """
    whole = ["--no-owner", "--no-privileges", "--file=-", str(dump)]
    script = ["--no-psqlrc", "--quiet", "--no-password", "--output=/dev/null"]
    script += ["--set=ON_ERROR_STOP=1", "--file=-"]
    with (
        subprocess.Popen([program("pg_restore"), *whole], stdout=subprocess.PIPE) as reading,
        subprocess.Popen(
            [program("psql"), *script], env=reaching(owner), stdin=subprocess.PIPE
        ) as writing,
    ):
        if reading.stdout is None or writing.stdin is None:
            raise OSError("no pipe")
        try:
            writing.stdin.write(f"BEGIN; {EMPTY if replace else ''}\n".encode())
            shutil.copyfileobj(reading.stdout, writing.stdin)
            if reading.wait() == 0:  # else the script ends here, and with it the transaction
                writing.stdin.write(f"{FENCE}COMMIT;\n".encode())
            writing.stdin.close()
        except BrokenPipeError:  # psql stopped at an error, and has said it
            reading.kill()
    for process in (writing, reading):
        if process.returncode:
            raise subprocess.CalledProcessError(process.returncode, process.args)


def _of_bucket(manifest: Manifest) -> str:
    """What is to be done about photos that no dump holds."""
    if not manifest.photos_in_bucket:
        return ""
    return (
        f" {manifest.photos_in_bucket} photos are in the bucket of AWS_STORAGE_BUCKET_NAME: "
        "fsck --only objects names what it lacks."
    )


def _python(environment: Mapping[str, str], *arguments: str) -> None:
    subprocess.run(
        [sys.executable, "-W", "ignore", *arguments],
        env=environment,
        cwd=ROOT,
        stdin=subprocess.DEVNULL,
        check=True,
    )


def _compare(owner: str, manifest: Manifest) -> None:
    """The restored head is the one the manifest names."""
    with psycopg.connect(owner) as connection:
        row = connection.execute(HEAD.encode()).fetchone()
    if row is None or (row[0], b64encode(row[1]).decode()) != (manifest.size, manifest.root):
        raise Refused("Restored and fenced, but the log is not the one the manifest names.")


if __name__ == "__main__":
    sys.exit(main())

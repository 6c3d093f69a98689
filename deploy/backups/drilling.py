"""Restore the newest backup into a cluster that is thrown away, check it, and write the stamp.

Like a real restore up to its end: `fsck` goes through the whole record, and `adopt` opens it
against what LOG_MEMORY held at that moment, else what PUBLIC_URL served. Run it as root on the
database's host, by a timer, once a week. On another host that has pgBackRest's configuration and
the service installed, give a --checkpoint some minutes old: `fsck` then holds the copy to it.
"""

import argparse
import os
import shutil
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from backups import environment, private, stamp
from backups.pgbackrest import STANZA, Repository
from backups.programs import POSTGRES, Failed, end_in_order, give, require, run, server_programs

ROOM: Final = 1.2
"""Times what the database takes: it must not fill the disk that the live one is on."""
ATTEMPTS: Final = 20
A_MOMENT: Final = 0.5
"""Seconds."""
NOWHERE: Final = "redis://127.0.0.1:1/0"
"""No task may be woken, and no worker of the live service."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Make a drill; returns the exit status."""
    end_in_order()
    given = _parse(arguments)
    return 0 if stamp.noted(given.stamp, "drill", lambda: drill(given)) else 1


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="deploy/backups/drill", description=__doc__)
    parser.add_argument("--env", type=Path, required=True, help="the service's environment file")
    parser.add_argument("--checkpoint", type=Path, help="a signed checkpoint from elsewhere")
    parser.add_argument(
        "--live", default="dbname=postgres", help="how psql reaches the live server"
    )
    parser.add_argument("--space", type=Path, default=Path("/var/lib/postgresql"))
    parser.add_argument("--server", default="scalewitness-server", help="the service's command")
    parser.add_argument("--user", default="scalewitness", help="the service's account")
    parser.add_argument("--programs", type=Path, help="the folder of PostgreSQL's programs")
    parser.add_argument("--stanza", default=STANZA, help="pgBackRest's name of the database")
    parser.add_argument("--config", help="pgBackRest's configuration, if not the usual file")
    parser.add_argument("--stamp", type=Path, default=stamp.STAMP, help="where the result is noted")
    return parser.parse_args(arguments)


def drill(given: argparse.Namespace) -> str:
    """The drill, and what it found in words.

    Raises:
        Failed: at which step, and why.
    """
    require("pgbackrest", "pgbackrest")
    began = time.monotonic()
    repository = Repository(given.stanza, given.config)
    service = environment.read(given.env)
    with _folders(given.space, given.user) as (data, memory):
        label = _room_for(repository, data)
        target, outside = _moment(given, service)
        (memory / "outside").write_text(outside)
        if target:
            repository.check()  # all that was written up to that moment is in the archive then
        private.restore(repository, data, None, *target, archive=False)
        port = private.free_port()
        with private.running(data, server_programs(given.programs), "archive_mode=off", port=port):
            _examined(given, service, memory, port)
    held = "adopted" if target else f"held to {given.checkpoint}"
    return f"{label}: restored, sound, {held}; it took {time.monotonic() - began:.0f} s."


@contextmanager
def _folders(space: Path, user: str) -> Iterator[tuple[Path, Path]]:
    """One for the cluster and one for what is to be remembered; both are gone afterwards."""
    data = Path(tempfile.mkdtemp(prefix="scalewitness-drill-", dir=space))
    memory = Path(tempfile.mkdtemp(prefix="scalewitness-drill-"))
    give(data, POSTGRES)
    give(memory, user)
    try:
        yield data, memory
    finally:
        shutil.rmtree(data, ignore_errors=True)
        shutil.rmtree(memory, ignore_errors=True)


def _moment(given: argparse.Namespace, service: Mapping[str, str]) -> tuple[list[str], str]:
    """Up to where to recover, as pgBackRest's options, and the checkpoint to hold that to. It is
    the last that was signed by that moment: the same just before and just after."""
    if given.checkpoint is not None:
        return [], _read(given.checkpoint)
    for attempt in range(ATTEMPTS):
        before, name = _outside(service), f"scalewitness-drill-{attempt}-{os.getpid()}"
        point = f"--command=SELECT pg_create_restore_point('{name}')"
        run(["psql", "--no-psqlrc", "--quiet", "--output=/dev/null", point, given.live], POSTGRES)
        if _outside(service) == before:
            return ["--type=name", f"--target={name}", "--target-action=promote"], before
        time.sleep(A_MOMENT)
    raise Failed("The log was signed again each time that a moment was to be marked in it.")


def _outside(service: Mapping[str, str]) -> str:
    """A checkpoint that the backup cannot have made up."""
    kept = Path(service.get("LOG_MEMORY") or "/nonexistent")
    if kept.is_file():
        return _read(kept)
    try:
        address = service["PUBLIC_URL"].rstrip("/") + "/log/checkpoint"
        with urllib.request.urlopen(address, timeout=30) as answer:  # noqa: S310  the service's own
            return str(answer.read().decode())
    except (OSError, KeyError, ValueError) as fault:
        raise Failed(f"There is no checkpoint to hold the backup to: {fault}") from None


def _read(note: Path) -> str:
    try:
        return note.read_text()
    except OSError as fault:
        raise Failed(f"{note}: {fault.strerror}") from None


def _room_for(repository: Repository, data: Path) -> str:
    """The newest backup's label, once there is room for it."""
    made = repository.made()
    if not made:
        raise Failed("pgBackRest keeps no backup.")
    free = shutil.disk_usage(data).free
    if free < ROOM * made[-1].bytes:
        raise Failed(
            f"{made[-1].label} takes {made[-1].bytes} bytes, and {data.parent} has {free} free. "
            "Give --space on another disk."
        )
    return made[-1].label


def _examined(
    given: argparse.Namespace, service: Mapping[str, str], memory: Path, port: int
) -> None:
    """What the service's own commands find in the copy. They are shown nothing of the live
    database, its queue or its memory."""
    copy = {
        **service,
        "DATABASE_URL": environment.elsewhere(service.get("DATABASE_URL", ""), port),
        "LOG_MEMORY": str(memory / "memory"),
        "REDIS_URL": NOWHERE,
    }
    copy.pop("DATABASE_OWNER_URL", None)
    outside = str(memory / "outside")
    checks = [["fsck", "--against", outside]]
    if given.checkpoint is None:
        shutil.copy(outside, memory / "memory")
        give(memory / "memory", given.user)
        checks.append(["adopt"])
    for words in checks:
        run([*given.server.split(), *words], given.user, environment.own() | copy)


if __name__ == "__main__":
    sys.exit(main())

"""Restore the newest backup and what was written since, with the log fenced.

Into the folder --to, which must be empty: after the loss of the database's disk, the one that
pgBackRest's configuration names. --received: the folder of a receiver (pg_receivewal), for what
had not reached the archive. Until the fence is committed nobody can reach the copy. Stop the
web server and the worker first; start PostgreSQL afterwards.

With --inspect the copy is for looking at: it archives nothing, its log is fenced, and it takes
another folder than the configured one. Only then --time may be given.
"""

import argparse
import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from backups import environment, private
from backups.pgbackrest import STANZA, Repository
from backups.programs import POSTGRES, Failed, end_in_order, give, require, server_programs

REASON: Final = "restored from a backup"
FENCE: Final = f"""
INSERT INTO public.ledger_fence (state, reason, at, size, root, note)
SELECT 'raised', '{REASON}', now(), size, root, '' FROM public.ledger_head
"""  # noqa: S608  a constant of this module
SIZE: Final = "SELECT size FROM public.ledger_head"
ALONE_AGAIN: Final = "ALTER SYSTEM RESET synchronous_standby_names"
"""Its receivers have no slot on this server, and every commit would wait for them."""

NEXT: Final = """
The log is fenced: it can be read, and takes, signs and sends nothing. Next:
  1. systemctl start postgresql
  2. scalewitness-server fsck
  3. scalewitness-server adopt [FILE...]   opens it, if it continues all that is known outside
  4. deploy/backups/receiver on            once the receivers stream again, from new slots
If adopt refuses for entries that are missing, see deploy/BACKUPS.md."""
LOOK: Final = """
It is for inspection, and fenced. To look at it:
  {postgres} -D {data} -c config_file=/dev/null -c hba_file={data}/pg_hba.conf \\
      -c unix_socket_directories={data} -c listen_addresses= -c port=5433
  psql --host={data} --port=5433 {database}
Delete {data} afterwards: it holds personal data."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Restore; returns the exit status."""
    end_in_order()
    given = _parse(arguments)
    try:
        recovered(given)
    except Failed as fault:
        print(f"Not restored: {fault}", file=sys.stderr)
        return 1
    return 0


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/backups/recover",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--env", type=Path, required=True, help="the service's environment file")
    parser.add_argument("--to", type=Path, required=True, help="the folder of the new cluster")
    parser.add_argument("--received", type=Path, help="the folder of a receiver")
    parser.add_argument("--inspect", action="store_true", help="a copy to look at")
    parser.add_argument(
        "--time", help="with --inspect: an earlier moment, such as 2026-11-30 12:00Z"
    )
    parser.add_argument("--programs", type=Path, help="the folder of PostgreSQL's programs")
    parser.add_argument("--stanza", default=STANZA, help="pgBackRest's name of the database")
    parser.add_argument("--config", help="pgBackRest's configuration, if not the usual file")
    given = parser.parse_args(arguments)
    if given.time and not given.inspect:
        parser.error("an earlier state is for inspection alone: give --inspect too")
    return given


def recovered(given: argparse.Namespace) -> None:
    """Restore, recover and fence.

    Raises:
        Failed: at which step, and why.
    """
    require("pgbackrest", "pgbackrest")
    repository = Repository(given.stanza, given.config)
    database = environment.database_of(environment.read(given.env))
    programs = server_programs(given.programs)
    _require_room(given.to, repository, inspect=given.inspect)
    moment = ["--type=time", f"--target={given.time}", "--target-action=promote"]
    private.restore(
        repository,
        given.to,
        given.received,
        *(moment if given.time else ()),
        archive=not given.inspect,
    )
    settings = _archiving(repository, inspect=given.inspect)
    with private.running(given.to, programs, *settings) as server:
        server.ask(database, FENCE)
        server.ask(database, ALONE_AGAIN)
        size = server.ask(database, SIZE)
    print(f"Restored {size} entries into {given.to}.")
    if given.inspect:
        _let_look(given.to)
        words = {"postgres": programs / "postgres", "data": given.to, "database": database}
        print(LOOK.format(**words))
    else:
        print(NEXT)


def _require_room(to: Path, repository: Repository, *, inspect: bool) -> None:
    """See that the folder is empty and, for a copy to look at, not that of the service."""
    if to.exists() and any(to.iterdir()):
        raise Failed(f"{to} is not empty. Move away what it holds: it may be evidence.")
    if inspect and str(to.absolute()) in repository.configured():
        raise Failed(f"{to} is the folder of the service itself. Give another.")
    to.mkdir(mode=0o700, parents=True, exist_ok=True)
    give(to, POSTGRES)


def _archiving(repository: Repository, *, inspect: bool) -> list[str]:
    """Recovery ends on a new timeline, and its history belongs into the archive."""
    if inspect:
        return ["archive_mode=off"]
    push = shlex.join(repository.command("archive-push"))
    return ["archive_mode=on", f"archive_command={push} %p"]


def _let_look(data: Path) -> None:
    """A copy to look at needs no configuration but this, and lets nobody in but its account."""
    hba = data / "pg_hba.conf"
    hba.write_text(private.SUPERUSER_MAY)
    give(hba, POSTGRES)


if __name__ == "__main__":
    sys.exit(main())

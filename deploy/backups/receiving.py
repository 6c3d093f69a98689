"""Whether commits wait until a receiver on another host has them on its disk.

    deploy/backups/receiver on [NAME...]   commits wait for one of the receivers named
    deploy/backups/receiver off            commits wait for nobody; those that wait are let go
    deploy/backups/receiver status         ends with 1 unless commits wait and a receiver is there

A receiver is `pg_receivewal --synchronous`; NAME is its application_name, `receiver` if none is
given. While none of them answers, nothing is accepted: senders are answered 503 and send again.
Run it as `postgres` on the database's host.
"""

import argparse
import sys
import time
from collections.abc import Sequence
from typing import Final

from backups.programs import POSTGRES, Failed, run

NAME: Final = "receiver"
WAITS: Final = 30
"""Seconds until a receiver that streams is taken for synchronous."""
STREAMING: Final = """
SELECT application_name FROM pg_stat_replication WHERE state = 'streaming' ORDER BY 1
"""
STATUS: Final = """
SELECT application_name || ': ' || state || ', ' || sync_state || ', '
  || pg_wal_lsn_diff(pg_current_wal_flush_lsn(), flush_lsn) || ' bytes behind'
FROM pg_stat_replication ORDER BY 1
"""
SYNCHRONOUS: Final = """
SELECT count(*) FROM pg_stat_replication WHERE sync_state IN ('sync', 'quorum')
"""
OFF: Final = """
Commits wait for nobody now. What is accepted from now on is lost with this server's disk, and with
it perhaps the log's name: see admit_loss. Bring a receiver back and switch it on again."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Switch or look; returns the exit status."""
    given = _parse(arguments)
    try:
        if given.what == "on":
            return switch_on(given.live, given.names or [NAME])
        return switch_off(given.live) if given.what == "off" else status(given.live)
    except Failed as fault:
        print(fault, file=sys.stderr)
        return 1


def _parse(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="deploy/backups/receiver",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("what", choices=("on", "off", "status"))
    parser.add_argument("names", nargs="*", help="application_name of each receiver")
    parser.add_argument("--live", default="dbname=postgres", help="how psql reaches the server")
    return parser.parse_args(arguments)


def switch_on(live: str, names: Sequence[str]) -> int:
    """Let commits wait for one of these, if one of them streams: else all would wait for ever.

    Raises:
        Failed: none does.
    """
    if not set(names) & set(_ask(live, STREAMING).splitlines()):
        raise Failed(f"None of {', '.join(names)} streams from this server; nothing was changed.")
    quoted = ", ".join('"' + name.replace('"', '""') + '"' for name in names)
    _set(live, f"ANY 1 ({quoted})")
    until = time.monotonic() + WAITS
    while time.monotonic() < until:
        if _ask(live, SYNCHRONOUS) != "0":
            return status(live)
        time.sleep(0.2)
    return status(live)


def switch_off(live: str) -> int:
    """Let commits wait for nobody."""
    _set(live, "")
    print(OFF.strip())
    return 0


def status(live: str) -> int:
    """Print who receives; 1 unless commits wait and somebody answers them."""
    names = _ask(live, "SHOW synchronous_standby_names")
    print(f"synchronous_standby_names: {names or 'nobody'}")
    print(_ask(live, STATUS) or "nobody receives")
    return 0 if names and _ask(live, SYNCHRONOUS) != "0" else 1


def _set(live: str, names: str) -> None:
    quoted = names.replace("'", "''")
    _ask(live, f"ALTER SYSTEM SET synchronous_standby_names = '{quoted}'")
    _ask(live, "SELECT pg_reload_conf()")


def _ask(live: str, statement: str) -> str:
    words = ["--no-psqlrc", "--quiet", "--tuples-only", "--no-align", "--no-password"]
    return run(["psql", *words, f"--command={statement}", live], POSTGRES).strip()


if __name__ == "__main__":
    sys.exit(main())

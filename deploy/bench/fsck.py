"""What the full check costs, by this tree and by an older one, of the same record.

    python deploy/bench/fsck.py OLD_TREE [--entries N] [--processes N]

On a PostgreSQL of its own, durable as in production, in one run: a record of that many entries is
made through the intake, signed, and its books closed; then each tree checks all of it from nothing,
the older one as it does by itself, this one with so many processes; and then this one what came
since, which is nothing. Fails where this tree is not three times as fast, or where its processes
have more than 300 MB of memory between them (proportional set size: what they share counts once).
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "clients"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import memory
from log import database

from stack.local import ROOT

WANTED, MOST_MB = 3.0, 300


class Run(NamedTuple):
    """``cpu``: seconds of cores, without PostgreSQL's, which tell more on a busy machine."""

    seconds: float
    cpu: float
    megabytes: float

    def __str__(self) -> str:
        return f"{self.seconds:.1f} s, {self.cpu:.1f} s of cores, {self.megabytes:.0f} MB"


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("old", type=Path, help="folder of the older tree")
    asked.add_argument("--entries", type=int, default=150_000)
    asked.add_argument("--processes", type=int, default=2)
    given = asked.parse_args()
    with database():
        from fsck_record import grow  # noqa: PLC0415

        grow(given.entries)
        old = checked(given.old.resolve())
        with tempfile.TemporaryDirectory() as folder:
            more = ("--processes", str(given.processes), "--since", f"{folder}/sound")
            new, again = checked(ROOT, *more), checked(ROOT, *more)
    ratio = old.seconds / new.seconds
    print(f"older tree: {old}\nthis tree:  {new}, {given.processes} processes\nsince then: {again}")
    within = ratio >= WANTED and new.megabytes <= MOST_MB
    print(f"{'ok  ' if within else 'MISS'}  {ratio:.2f} times as fast")
    return 0 if within else 1


def checked(tree: Path, *more: str) -> Run:
    """How long a full check by that tree takes, and its processes' memory at most."""
    command = [sys.executable, "-m", "scalewitness", "fsck", *more]
    environment = os.environ | {"PYTHONPATH": f"{tree / 'server'}"}
    began, cores, most = time.perf_counter(), _cores(), 0.0
    with subprocess.Popen(command, cwd=tree, env=environment) as check:
        while check.poll() is None:
            most = max(most, memory.of_all(check.pid))
            time.sleep(0.2)
    if check.returncode:
        raise RuntimeError("the record is not sound")
    return Run(time.perf_counter() - began, _cores() - cores, most)


def _cores() -> float:
    """Seconds that the processes started so far, and ended, took."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


if __name__ == "__main__":
    sys.exit(main())

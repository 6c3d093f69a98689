"""What the proofs cost a first sync of the command: everything fetched, with and without them.

    python deploy/bench/proved_sync.py [--facts N] [--each N] [--pairs N]

A keeper with so many facts, ``--each`` of them about one animal, signed; then the command fetches
all of it onto an empty machine, in turn as it does by itself and with its look at the log's map
left out. Printed are the median times, the median of their ratios with the least and the largest,
and how many processes wanted a core before and after; it fails where the median is over 1.5.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path
from statistics import median

from running import service, verdict

MOST = 1.5
PASSWORD = "seven-quiet-scales"  # noqa: S105  of nobody
WHOLE = "from scalewitness_cli.main import cli; cli()"
BARE = f"import scalewitness_cli.sync as s; s._proving = lambda *all: None; {WHOLE}"


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--facts", type=int, default=10_000)
    asked.add_argument("--each", type=int, default=4, help="facts about one animal")
    asked.add_argument("--pairs", type=int, default=10)
    given = asked.parse_args()
    with service(worker=False) as stack, tempfile.TemporaryDirectory() as folder:
        email, key = _recorded(given.facts, given.facts // given.each)
        home = Path(folder) / "signed-in"
        home.mkdir()
        _run(WHOLE, home, "sign-in", stack.url, "--email", email, "--device", "a", "--log-key", key)
        whole, bare, busy = list[float](), list[float](), os.getloadavg()[0]
        for pair in range(given.pairs):
            for times, code in ((whole, WHOLE), (bare, BARE))[:: -1 if pair % 2 else 1]:
                there = Path(folder) / "empty"
                shutil.copytree(home, there)
                seconds, printed = _run(code, there, "sync", "--json")
                if bool(json.loads(printed)["proved"]) != (code is WHOLE):
                    raise RuntimeError(f"it is not what was to be measured: {printed}")
                times.append(seconds)
                shutil.rmtree(there)
    ratios = [a / b for a, b in zip(whole, bare, strict=True)]
    ratio = median(ratios)
    print(f"with proofs {median(whole):.2f} s, without {median(bare):.2f} s, ratio {ratio:.2f}")
    print(f"({min(ratios):.2f} to {max(ratios):.2f}; load {busy:.1f} to {os.getloadavg()[0]:.1f})")
    misses = [f"{ratio:.2f} times as long with proofs"] if ratio > MOST else []
    return verdict(misses, f"at most {MOST} times as long with proofs")


def _recorded(facts: int, animals: int) -> tuple[str, str]:
    """The keeper's address and the log's key."""
    # These import models, and those need the settings.
    from django.utils import timezone  # noqa: PLC0415
    from sync_parts import Herd  # noqa: PLC0415

    from scalewitness.ledger.services.signing import log_key, sign_checkpoint  # noqa: PLC0415

    herd = Herd("Wilhelmina Stroud", animals)
    herd.call_all(facts - animals)
    herd.keeper.set_password(PASSWORD)
    herd.keeper.save()
    sign_checkpoint(timezone.now())
    return herd.keeper.email, str(log_key())


def _run(code: str, home: Path, *arguments: str) -> tuple[float, str]:
    """Seconds that the command took, with its start, and what it said."""
    env: Mapping[str, str] = {
        **os.environ,
        "HOME": str(home),
        "SCALEWITNESS_PASSWORD": PASSWORD,
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    since = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"{arguments}: {done.stderr}")
    return time.perf_counter() - since, done.stdout


if __name__ == "__main__":
    sys.exit(main())

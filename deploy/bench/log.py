"""What the log costs: appending, proving, and building its tree.

    python deploy/bench/log.py [--entries N] [--size N]

On a PostgreSQL of its own, durable as in production, in one run:

- appending entries in batches of 100, a transaction each, against inserting the very same
  rows without canonical form, hashing, tree or head. Fails above 3 times.
- inclusion and consistency proofs at a million entries, read from stored tiles. Fails where
  the 95th percentile takes 2 ms or more.
- hashing leaves into a tree with its tiles, in memory, against the 2N hashes of 65 bytes
  that any such tree costs at least. Fails above 4 times.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import django

from scalewitness.setting_up.keys import fresh_log_key, fresh_map_key
from stack.local import ROOT
from stack.postgres import Postgres
from stack.supervisor import Supervisor


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--entries", type=int, default=100_000, help="entries to append")
    asked.add_argument("--size", type=int, default=1_000_000, help="entries when proving")
    given = asked.parse_args()
    with database():
        # The parts import models, and those need the settings.
        from log_parts import appending, building, proving  # noqa: PLC0415

        measured = [building(given.entries), appending(given.entries), *proving(given.size)]
    for one in measured:
        print(f"{'ok  ' if one.within else 'OVER'}  {one.what}: {one.text}")
    return 0 if all(one.within for one in measured) else 1


@contextmanager
def database() -> Iterator[None]:
    """A migrated database on a server of its own, the process set up to use it."""
    with tempfile.TemporaryDirectory(prefix="scalewitness-bench-") as folder:
        supervisor = Supervisor(Path(folder), say=lambda name, text: None)
        server = Postgres(Path(folder) / "postgres")
        try:
            server.start(supervisor)
            os.environ |= {
                "DJANGO_SETTINGS_MODULE": "scalewitness.settings",
                "DATABASE_URL": server.owner_url(),
                "REDIS_URL": "redis://127.0.0.1:1",
                "SECRET_KEY": "nothing here is secret",
                "PUBLIC_URL": "http://127.0.0.1",
                "LOG_SIGNING_KEY": fresh_log_key("bench/log").secret(),
                "LOG_MAP_KEY": fresh_map_key().secret(),
                "DEMO": "1",
                "PYTHONPATH": str(ROOT / "server"),
            }
            migrate = [sys.executable, "-m", "scalewitness", "migrate", "--verbosity", "0"]
            subprocess.run(migrate, check=True)
            django.setup()
            yield
        finally:
            supervisor.stop()


if __name__ == "__main__":
    sys.exit(main())

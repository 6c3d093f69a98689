"""What an animal's record as one file weighs, and what making and checking it takes.

    python deploy/bench/bundle.py [--others N]

On a PostgreSQL of its own, durable as in production: beside so many other entries, records of 10,
100 and 1,000 entries are taken along, checked by a reader's own program with the standing computed
again, and read as another server reads them. Fails where a record of 1,000 has over 2 MB, or takes
over 1 s to make or to check.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "clients"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from log import database
from running import verdict

MOST_BYTES, MOST_SECONDS = 2_000_000, 1.0


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--others", type=int, default=20_000, help="entries about other animals")
    given = asked.parse_args()
    misses = []
    with database():
        from bundle_parts import measured  # noqa: PLC0415

        for one in measured(given.others):
            print(
                f"{one.entries:>5} entries in a log of {one.size:,}: {one.bytes:,} bytes; made in "
                f"{one.made:.3f} s, checked in {one.checked:.3f} s, read in by another server in "
                f"{one.read:.3f} s"
            )
            if one.bytes > MOST_BYTES or max(one.made, one.checked) > MOST_SECONDS:
                misses.append(f"{one.entries} entries are over the limit")
    return verdict(misses, "within 2 MB and 1 s")


if __name__ == "__main__":
    sys.exit(main())

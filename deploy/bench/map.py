"""What the map of subjects costs: extending it at a signature, and proving from it.

    python deploy/bench/map.py [--subjects N] [--touched N]

On a PostgreSQL of its own, durable as in production, in one run:

- a signature's work on the map after entries about 20 subjects came in, in a map of a million.
  Fails where the median of the rounds takes over 50 ms.
- the same after 10,000 of 10,000 were spoken of. Fails above 2 s.
- one subject's proof in the map of a million, read from the tables: fails where the 95th percentile
  takes 3 ms or more, or one has over 2 kB as JSON.
- the path of a subject that is new, once for ever.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from log import database


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--subjects", type=int, default=1_000_000, help="in the large map")
    asked.add_argument("--touched", type=int, default=10_000, help="at once, in a map of as many")
    given = asked.parse_args()
    measured = []
    with database():
        from map_parts import all_touched, few_touched, new_paths, proving  # noqa: PLC0415

        measured += [new_paths(), all_touched(given.touched)]
        measured += [few_touched(given.subjects), *proving()]
    for one in measured:
        print(f"{'ok  ' if one.within else 'OVER'}  {one.what}: {one.text}")
    return 0 if all(one.within for one in measured) else 1


if __name__ == "__main__":
    sys.exit(main())

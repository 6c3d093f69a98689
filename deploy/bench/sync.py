"""How fast clients push calls and pull changes, beside generic servers on the same PostgreSQL.

    python deploy/bench/sync.py [--peers FOLDER --peers-python PYTHON] [--seconds S]

The whole service is started on a PostgreSQL of its own, durable as in production, with two
web workers. Measured over HTTP, in one run:

- pushing calls through the whole intake: grants, log, standings. Three calls an animal, each
  with a note; some 750 bytes a call.
- pulling everything, a thousand items a page, and pulling one call just pushed, by a keeper
  who sees 10,000 calls and by one who sees 100,000, in turn.

With ``--peers`` the scripts of that folder, ``kinto_bench.py`` (a JSON store that keeps its
history) and ``drf_bench.py`` (an endpoint that keeps nothing but the rows), are run in turn with
it on the same PostgreSQL, all of them twice, and of each figure the better one counts: machines
are shared, and what slows one for some minutes should not be taken for a difference. The ratios
are judged: pushing 20 times the store's pace and no slower than the endpoint; pulling everything
no slower than the store, one change no slower either, and out of 100,000 within 1.3 times of out
of 10,000.
"""

import argparse
import sys
from pathlib import Path

from running import service

PARTS = ("push", "pull", "change")


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--peers", type=Path, help="folder with the peers' scripts")
    asked.add_argument("--peers-python", default=sys.executable, help="Python that has them")
    asked.add_argument("--seconds", type=float, default=6, help="longest for one figure")
    asked.add_argument("--large", type=int, default=100_000, help="calls the second keeper sees")
    asked.add_argument("--only", default=",".join(PARTS), help="parts, with commas")
    given = asked.parse_args()
    with service(worker=False) as stack:
        # The parts import models, and those need the settings.
        from sync_parts import better, measure  # noqa: PLC0415
        from sync_peers import judge, peers  # noqa: PLC0415

        database = stack.postgres.superuser_url() if stack.postgres else stack.owner_url
        ours, theirs = [], []
        for _ in range(1 if given.peers is None else 2):
            found = measure(stack, given.only.split(","), given.seconds, given.large)
            print(*found, sep="\n", flush=True)
            ours.append(found)
            if given.peers is not None:
                theirs += peers(given.peers, given.peers_python, database)
    if given.peers is None:
        return 0
    verdicts = judge(better(*ours), theirs)
    for verdict in verdicts:
        print(verdict)
    return 0 if all(one.within for one in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())

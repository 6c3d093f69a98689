"""Whether the last letter that each reader gets of an animal is true, whatever a mail host does.

    python deploy/bench/last_word.py [--stories N] [--seed S]

Random stories on a PostgreSQL of its own: a verified sex that a buyer and a seller rely on falls
and comes back, 4 to 9 times, while a mail host is slow, refuses, times out after taking, hangs up
before or after storing, stores after everybody gave up on it, is down and comes back, and workers
hang or die with letters in hand. Then it works again, and an oracle reads what it accepted, in that
order. Wanted: no last word that is untrue, nothing owed that nobody was told, nothing twice but
under its own Message-ID.
"""

import argparse
import logging
import sys
import tempfile
from pathlib import Path

import structlog
from running import service, verdict

ROOT = Path(__file__).resolve().parents[2]


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--stories", type=int, default=100)
    asked.add_argument("--seed", type=int, default=0)
    given = asked.parse_args()
    sys.path.insert(0, str(ROOT))
    with service(worker=False), tempfile.TemporaryDirectory() as folder:
        logging.disable()  # what a mail host says, line by line
        quiet = structlog.make_filtering_bound_logger(logging.CRITICAL)
        structlog.configure(wrapper_class=quiet)
        from tests.mail.stories import Figures, tell  # noqa: PLC0415  it imports models
        from tests.world import World, keeper  # noqa: PLC0415

        figures = Figures()
        for seed in range(given.seed, given.seed + given.stories):
            names = {one: keeper(f"{one.title()} {seed}") for one in WHO}
            world = World(**names, house=f"of {seed}")
            tell(world, seed, Path(folder) / str(seed), figures)
    print(f"{figures.stories} stories, {figures.letters} letters accepted")
    print(f"wrong last words: {len(figures.wrong)}")
    print(f"owed and missing: {len(figures.missing)}")
    print(f"twice, under their own Message-ID: {figures.doubled}")
    print(f"twice, under another: {len(figures.doubled_anew)}")
    return verdict(figures.faults, "every last word is true, and nothing is missing")


WHO = ("odile", "pim", "greta", "stan")


if __name__ == "__main__":
    sys.exit(main())

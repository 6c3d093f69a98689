"""Whether a blind guest gets the same of an animal with a rich history and of its bare twin.

    python deploy/bench/twins.py [--histories N]

Random histories of checks, eggs, reports, sales, disputes, pairings and young, each played twice:
about the animal on the guest's sheet, and about a twin out of their sight. Every endpoint, page,
answer of the feed, receipt and letter that the guest gets is compared, ids and times aside. None
may differ. Prints how much was compared, in `tests/twins`, which it runs.
"""

import argparse
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TEST = "tests/twins/test_twins.py"


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--histories", type=int, default=20)
    given = asked.parse_args()
    only = ["-k", "many_histories", "--all", "--histories", str(given.histories)]
    run = [str(ROOT / "deploy" / "test"), TEST, "-q", "--show-capture=no", *only]
    return subprocess.run(run, cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())

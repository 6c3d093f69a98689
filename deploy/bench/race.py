"""Buyers confirm while a blind guest finds the other sex: does one confirm what just fell?

    python deploy/bench/race.py [--races N]

Each time an animal is verified by two blind guests and offered. Then, at once and each in a thread
with a connection of its own, its buyer confirms what they were shown, and a third guest's contrary
call comes in. Wrong is a confirmation taken after the sex fell, or a sale that goes on although it
fell after the confirmation. 0 are wanted.
"""

import argparse
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

from running import service

WANTED = 0


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--races", type=int, default=200)
    given = asked.parse_args()
    with service(worker=False):
        from race_story import Races  # noqa: PLC0415  it imports models, which need the settings

        races, found = Races(0), Counter[str]()
        with ThreadPoolExecutor(2) as threads:
            for number in range(given.races):
                found[races.run(number, threads)] += 1
    for outcome, count in found.most_common():
        print(f"{count:4}  {outcome}")
    wrong = sum(count for outcome, count in found.items() if outcome.startswith("WRONG"))
    print(f"{'MISS' if wrong > WANTED else 'ok  '}  {wrong} wrong of {given.races}, 0 wanted")
    return 1 if wrong > WANTED else 0


if __name__ == "__main__":
    sys.exit(main())

"""How long until everyone who relied on a verified sex has heard that it fell.

    python deploy/bench/fall.py [--buyers N]

The whole service is started on a PostgreSQL of its own, durable as in production, with two web
workers, the worker and a mail host that stores what it accepts. One animal was sold, given
back and sold again to N buyers in turn, each time as a verified male. Then a blind guest pushes
a female. Measured: until the push is answered (everything owed is in that transaction), and
until the mail host has accepted the last of the N letters; 30 s are allowed for 500. Meanwhile
a reader keeps asking for an animal: its p95 may be 1.5 times that of a quiet server.
"""

import argparse
import logging
import os
import statistics
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
from running import service

from stack.local import LocalStack

ALLOWED, TIMES = 30.0, 1.5
QUIET = 6.0
"""Seconds of reading before the fall."""
FEWEST = 20
"""Readings of which the p95 is one of them, and no guess beyond all."""


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--buyers", type=int, default=500)
    given = asked.parse_args()
    with service(worker=True) as stack:
        logging.disable()  # a line for each of thousands of requests
        from fall_story import Story  # noqa: PLC0415  it imports models, which need the settings

        story = Story(given.buyers)
        reader = Reader(f"{stack.url}/api/v1/animals/{story.other}", story.token)
        reader.run(lambda began: time.perf_counter() - began < QUIET)
        quiet = reader.p95()
        letters = Arrivals(Path(stack.maildir or ""))
        waited = fall(stack, story, reader, letters)
        print(f"{given.buyers} buyers; accepted and everything owed after {waited[0]:.2f} s")
        print(f"the last letter accepted by the mail host after {waited[1]:.2f} s")
        print(f"quiet reading: p95 {quiet:.1f} ms")
        problems = story.problems(letters.count("disclosure"))
    for one in problems:
        print(f"MISS  {one}")
    late = waited[1] > ALLOWED
    print(f"{'MISS' if late else 'ok  '}  {waited[1]:.1f} s, at most {ALLOWED:g} wanted")
    slow = too_slow(reader, quiet)
    return 1 if problems or late or slow else 0


def too_slow(reader: "Reader", quiet: float) -> bool:
    """Whether reading took too long meanwhile; says so. After a short fall nobody can tell."""
    if len(reader.took) < FEWEST:
        print(f"----  {len(reader.took)} readings, too few for a p95; it takes more buyers")
        return False
    ratio = reader.p95() / quiet
    slow = ratio > TIMES
    words = f"reading p95 {reader.p95():.1f} ms, {ratio:.2f} times, at most {TIMES:g} wanted"
    print(f"{'MISS' if slow else 'ok  '}  {words}")
    return slow


def fall(
    stack: LocalStack, story: Any, reader: "Reader", letters: "Arrivals"
) -> tuple[float, float]:
    """Seconds from sending the call to its answer, and to the last letter."""
    reader.took.clear()
    done = threading.Event()
    thread = threading.Thread(target=reader.run, args=(lambda _: not done.is_set(),))
    thread.start()
    began = time.perf_counter()
    story.push(f"{stack.url}/api/v1/push")
    answered = time.perf_counter() - began
    while letters.count("disclosure") < story.buyers and time.perf_counter() - began < 300:
        time.sleep(0.05)
    last = time.perf_counter() - began
    done.set()
    thread.join()
    return answered, last


class Reader:
    """Asks for one thing ten times a second and notes how long each answer took."""

    def __init__(self, url: str, token: str) -> None:
        self._client = httpx.Client(headers={"Authorization": f"Bearer {token}"}, timeout=60)
        self._url = url
        self.took: list[float] = []

    def run(self, going: Callable[[float], bool]) -> None:
        started = time.perf_counter()
        while going(started):
            began = time.perf_counter()
            self._client.get(self._url).raise_for_status()
            self.took.append(1000 * (time.perf_counter() - began))
            time.sleep(max(0.0, 0.1 - (time.perf_counter() - began)))

    def p95(self) -> float:
        return statistics.quantiles(self.took, n=20)[-1]


class Arrivals:
    """Letters in the mail host's folder, each read once."""

    def __init__(self, maildir: Path) -> None:
        self._new = maildir / "new"
        self._kinds: dict[str, str] = {}

    def count(self, kind: str) -> int:
        for file in os.scandir(self._new):
            if file.name not in self._kinds:
                head = Path(file.path).read_text(encoding="utf-8", errors="replace")
                line = head.partition("X-Scalewitness-Letter:")[2]
                self._kinds[file.name] = line.partition("\n")[0].strip()
        return list(self._kinds.values()).count(kind)


if __name__ == "__main__":
    sys.exit(main())

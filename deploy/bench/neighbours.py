"""What one person's import costs others, and what many single pushes at once come to.

    python deploy/bench/neighbours.py [--seconds N]

The whole web side on a PostgreSQL of its own, durable as in production. First somebody pushes
single calls, one after the other; then again, while somebody else registers 500 animals a push,
each as soon as the one before was answered. The p95 of the single pushes may be five times that
alone, or 400 ms. How long the log was locked is looked at every few milliseconds: at most
100 ms at a time, as nothing is pushed that cannot be cut.

Then 100 people push single calls, each as soon as they were answered. Where the time goes is
printed first: what PostgreSQL's sessions are doing, and how long each side computes for a push.
Then how many there are a second, and how many commits there were for each (0.2 wanted).
"""

import argparse
import asyncio
import itertools
import logging
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TypeAlias

import psutil
import psycopg
from asking import Answer, Request, ask, codes, percentile
from running import service, verdict

from stack.local import LocalStack

Looks: TypeAlias = list[tuple[float, list[tuple[Any, ...]]]]
"""What PostgreSQL answered, each time with the moment."""

TIMES, OR_MS, LOCKED_MS, COMMITS = 5.0, 400.0, 100.0, 0.2
AT_ONCE = 100
LOOKED_AT = 0.004
"""Seconds between two looks at what PostgreSQL is doing."""
HOLDER = """
SELECT pid, virtualtransaction FROM pg_locks WHERE locktype = 'advisory' AND granted
"""
DOING = """
SELECT state, wait_event_type, wait_event FROM pg_stat_activity
WHERE backend_type = 'client backend' AND pid <> pg_backend_pid() AND datname = current_database()
"""


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--seconds", type=float, default=20.0)
    given = asked.parse_args()
    with service(worker=False, PUSH_ITEMS_A_MINUTE="100000000") as stack:
        logging.disable()  # a line for each of thousands of requests
        from neighbours_story import Street  # noqa: PLC0415  it imports models

        street = Street()
        singles = street.singles()
        misses = asyncio.run(beside(stack, singles, street.imports(), given.seconds))
        misses += at_once(stack, singles, given.seconds)
    return verdict(misses, "nobody held up the others")


async def beside(
    stack: LocalStack, singles: Iterator[Request], imports: Iterator[Request], seconds: float
) -> list[str]:
    await until(stack.url, singles, 3.0)  # first plans, caches, connections
    alone = await until(stack.url, singles, seconds)
    with looked_at(stack, HOLDER) as looks:
        importing = asyncio.create_task(until(stack.url, imports, seconds))
        await asyncio.sleep(0.5)
        meanwhile = await until(stack.url, singles, seconds - 1)
        imported = await importing
    locked = longest_held(looks)
    rate = 500 * sum(one.status == 200 for one in imported) / seconds
    was, now = (1000 * percentile(one, 95) for one in (alone, meanwhile))
    print(f"a single push alone: p95 {was:.0f} ms; beside an import {now:.0f} ms, {now / was:.1f}")
    print(f"  times; {codes(meanwhile)}. Animals registered meanwhile: {rate:.0f} a second")
    print(f"  the log locked for {locked:.0f} ms at most")
    misses = []
    if now > max(TIMES * was, OR_MS):
        misses.append(f"a single push took {now:.0f} ms beside an import")
    if locked > LOCKED_MS:
        misses.append(f"the log was locked for {locked:.0f} ms, {LOCKED_MS:.0f} allowed")
    if any(one.status != 200 for one in (*alone, *meanwhile)):
        misses.append(f"single pushes: {codes(meanwhile)}")
    return misses


async def until(url: str, what: Iterator[Request], seconds: float) -> list[Answer]:
    """One after the other."""
    answers = []
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        answers.append(await ask(url, next(what)))
    return answers


def at_once(stack: LocalStack, singles: Iterator[Request], seconds: float) -> list[str]:
    from neighbours_story import commits, size  # noqa: PLC0415  it imports models

    before, spent = size(), computing(stack)
    with looked_at(stack, DOING) as looks:
        answers = asyncio.run(crowd(stack.url, singles, seconds))
    taken = sum(one.status == 200 for one in answers)
    web, database = (now - was for now, was in zip(computing(stack), spent, strict=True))
    print(f"{AT_ONCE} at once: a push takes {1000 * web / taken:.1f} ms of computing in the web")
    print(f"  processes and {1000 * database / taken:.1f} ms in PostgreSQL. Its sessions:")
    for what, share in doing(looks):
        print(f"    {share:5.1f} on average {what}")
    found = commits(before) / taken
    print(f"  {taken / seconds:.0f} accepted a second ({codes(answers)}), p95", end=" ")
    print(f"{1000 * percentile(answers, 95):.0f} ms; {found:.3f} commits for each")
    return [f"{found:.2f} commits for each push, {COMMITS} wanted"] if found > COMMITS else []


async def crowd(url: str, singles: Iterator[Request], seconds: float) -> list[Answer]:
    answers = await asyncio.gather(*(until(url, singles, seconds) for _ in range(AT_ONCE)))
    return list(itertools.chain(*answers))


def computing(stack: LocalStack) -> tuple[float, float]:
    """Seconds of processor that the web's processes and PostgreSQL's have used. Of the latter,
    those of sessions that are still there: the web's are."""
    used = Counter[str]()
    for one in psutil.Process().children(recursive=True):
        try:
            name = "web" if "gunicorn" in " ".join(one.cmdline()) else one.name()
            times = one.cpu_times()
        except psutil.Error:
            continue
        used["postgres" if "postgres" in name else name] += times.user + times.system
    return used["web"], used["postgres"]


@contextmanager
def looked_at(stack: LocalStack, question: str) -> Iterator[Looks]:
    """What PostgreSQL answers meanwhile, again and again."""
    looks: Looks = []
    over = threading.Event()

    def look() -> None:
        with psycopg.connect(stack.environment["DATABASE_URL"], autocommit=True) as line:
            while not over.wait(LOOKED_AT):
                looks.append((time.perf_counter(), line.execute(question).fetchall()))

    thread = threading.Thread(target=look)
    thread.start()
    try:
        yield looks
    finally:
        over.set()
        thread.join()


def longest_held(looks: Looks) -> float:
    """Milliseconds for which one transaction was seen to hold the lock."""
    first: dict[tuple[Any, ...], float] = {}
    longest = 0.0
    for moment, holders in looks:
        for one in holders:
            longest = max(longest, moment - first.setdefault(one, moment))
    return 1000 * longest


def doing(looks: Looks) -> list[tuple[str, float]]:
    """How many sessions on average were doing what, the most first."""
    seen = Counter[str]()
    for _, sessions in looks:
        seen.update(_word(*one) for one in sessions)
    return [(what, count / len(looks)) for what, count in seen.most_common(8)]


def _word(state: str | None, kind: str | None, event: str | None) -> str:
    if state == "active":
        return "computing" if kind is None else f"waiting for {kind}: {event}"
    if state and state.startswith("idle in transaction"):
        return "in a transaction, while the web computes"
    return "idle"


if __name__ == "__main__":
    sys.exit(main())

"""What callers see while somebody holds the log's lock and does not answer.

    python deploy/bench/stuck.py

The whole web side on a PostgreSQL of its own, durable as in production. The holder is first
somebody at a prompt, who took the lock and idles; then a process of ours that was stopped in the
middle of a batch. Meanwhile eight devices push, one after the other's answer, and somebody reads.
Measured from connecting: how soon pushes are told to come again (5 s allowed), how reading
compares with a quiet server, whether the service is ready all the while, and after how long
pushes are taken again: once the prompt has let go, and while the process still does not run.
"""

import argparse
import asyncio
import itertools
import logging
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import psycopg
from asking import Answer, Request, ask, codes, go_first, oldest, percentile
from overload import unready, watched
from running import service, verdict

from stack.local import LocalStack

ANSWERED_WITHIN, AGAIN_WITHIN, READ_WITHIN = 5.0, 20.0, 2.0
PUSHERS = 8
HELD = 8.0
"""Seconds; less than the ten after which a process of ours loses the lock."""
HOLD = "SELECT 1 FROM ledger_head FOR UPDATE"
HOLDER = """
import sys
import scalewitness.wsgi
from django.db import transaction
from scalewitness.ledger.services.writing import take_turn
with transaction.atomic():
    take_turn()
    print("has it", flush=True)
    sys.stdin.read()
"""


def main() -> int:
    argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0]).parse_args()
    with service(worker=False) as stack:
        logging.disable()  # a line for each request
        from overload_mix import Mix  # noqa: PLC0415  it imports models, which need the settings

        mix = Mix()
        go_first()
        reads = (one for one in mix.requests() if one.kind != "push" and not one.may_wait)
        misses = asyncio.run(measured(stack, reads, mix.pushes(1)))
    return verdict(misses, "pushes were told in time, reading went on, all was well again in time")


async def measured(
    stack: LocalStack, reads: Iterator[Request], pushes: Iterator[Request]
) -> list[str]:
    await one_after_another(stack.url, reads, 2.0)  # first plans, caches, connections
    quiet = await one_after_another(stack.url, reads, 4.0)
    print(f"quiet: reading p95 {1000 * percentile(quiet, 95):.0f} ms")
    misses: list[str] = []
    for name, holder in (("a prompt", prompt), ("a stopped process", stopped)):
        with holder(stack):
            began = time.perf_counter()
            misses += await held(stack.url, name, reads, pushes)
            if holder is stopped:
                await pushes_again(stack.url, pushes)
        if holder is prompt:
            began = time.perf_counter()
            await pushes_again(stack.url, pushes)
        again = time.perf_counter() - began
        print(f"  pushes are taken again after {again:.1f} s")
        if again > AGAIN_WITHIN:
            misses.append(f"{name}: pushes are taken again only after {again:.1f} s")
    return misses


async def held(
    url: str, name: str, reads: Iterator[Request], pushes: Iterator[Request]
) -> list[str]:
    pushing = [one_after_another(url, pushes, HELD - ANSWERED_WITHIN) for _ in range(PUSHERS)]
    answers, read, ready = await asyncio.gather(
        asyncio.gather(*pushing), one_after_another(url, reads, HELD - 1), watched(url, HELD - 1)
    )
    pushed = list(itertools.chain(*answers))
    print(
        f"{name} holds the lock: pushes {codes(pushed)} after p50 {percentile(pushed, 50):.1f} s,"
    )
    print(f"  at most {oldest(pushed):.1f} s; reading p95 {1000 * percentile(read, 95):.0f} ms,")
    print(f"  at most {1000 * oldest(read):.0f} ms; ready: {codes(ready)}")
    return [f"{name}: {one}" for one in (*wrong(pushed, read), *unready(ready))]


def wrong(pushed: Sequence[Answer], read: Sequence[Answer]) -> Iterator[str]:
    if any(one.status != 503 or not one.retry_after for one in pushed):
        yield f"pushes were told otherwise: {codes(pushed)}"
    if oldest(pushed) > ANSWERED_WITHIN:
        yield f"a push was told after {oldest(pushed):.1f} s"
    if any(one.status != 200 for one in read) or oldest(read) > READ_WITHIN:
        yield f"reading: {codes(read)}, at most {oldest(read):.1f} s"


async def one_after_another(url: str, what: Iterator[Request], seconds: float) -> list[Answer]:
    answers = []
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        answers.append(await ask(url, next(what)))
    return answers


async def pushes_again(url: str, pushes: Iterator[Request]) -> None:
    until = time.perf_counter() + 3 * AGAIN_WITHIN
    while (await ask(url, next(pushes))).status != 200 and time.perf_counter() < until:
        await asyncio.sleep(0.1)


@contextmanager
def prompt(stack: LocalStack) -> Iterator[None]:
    with psycopg.connect(stack.environment["DATABASE_URL"]) as holder:
        holder.execute(HOLD)
        yield
        holder.rollback()


@contextmanager
def stopped(stack: LocalStack) -> Iterator[None]:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER],
        env=os.environ | stack.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as holder:
        try:
            if holder.stdout is None or holder.stdout.readline() != b"has it\n":
                raise RuntimeError("the holder did not get the lock")
            holder.send_signal(signal.SIGSTOP)
            yield
        finally:
            holder.kill()


if __name__ == "__main__":
    sys.exit(main())

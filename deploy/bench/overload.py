"""What callers see when five times as much is asked as can be answered.

    python deploy/bench/overload.py [--seconds N]

The whole web side on a PostgreSQL of its own, durable as in production. First what it can do:
sixteen clients that read pages and the API, push and ask the feed, each as soon as it was
answered. Then five times as many requests a second, whatever comes back, each over a connection
of its own and measured from connecting. Nothing may fail (500, or no answer), nothing but a
waiting feed be older than 15 s, each 503 must say when to come again, and the service must be
ready all the while and as quick as before within 10 s of the end. Then fifty clients at a time
push and are killed before they are answered: meanwhile others must be served.
"""

import argparse
import asyncio
import itertools
import logging
import sys
import time
from collections.abc import Iterator, Sequence

from asking import Answer, Request, ask, codes, go_first, hang_up, oldest, percentile
from running import service, verdict

TIMES, OLDEST, RECOVERED = 5, 15.0, 10.0
AT_ONCE = 16
"""Clients that find out what can be done: fewer than are admitted, and so many that there is always
somebody to serve."""
QUIET = 6.0
"""Seconds to find it out in."""
KILLED = 50
READY = Request("ready", "GET", "/health/ready")


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--seconds", type=float, default=30.0)
    given = asked.parse_args()
    with service(worker=False) as stack:
        logging.disable()  # a line for each of thousands of requests
        from overload_mix import Mix  # noqa: PLC0415  it imports models, which need the settings

        mix = Mix()
        go_first()
        return asyncio.run(measured(stack.url, mix.requests(), mix.pushes(), given.seconds))


async def measured(
    url: str, mix: Iterator[Request], pushes: Iterator[Request], seconds: float
) -> int:
    await as_answered(url, mix, 2.0)  # first plans, caches, connections
    quiet = await as_answered(url, mix, QUIET)
    can = sum(one.status == 200 for one in quiet) / QUIET
    print(f"it can do {can:.0f} requests/s; p95 {1000 * percentile(quiet, 95):.0f} ms")
    usual = percentile(quiet, 95)
    misses = await overloaded(url, mix, can, seconds, usual)
    misses += await killed(url, mix, pushes, seconds / 2, usual)
    return verdict(misses, "nothing failed, nothing was too old, all was well again in time")


async def as_answered(
    url: str, mix: Iterator[Request], seconds: float, clients: int = AT_ONCE
) -> list[Answer]:
    """Each client asks again as soon as it was answered."""
    answers: list[Answer] = []
    until = time.perf_counter() + seconds

    async def client() -> None:
        while time.perf_counter() < until:
            request = next(one for one in mix if not one.may_wait)
            answers.append(await ask(url, request))

    await asyncio.gather(*(client() for _ in range(clients)))
    return answers


async def overloaded(
    url: str, mix: Iterator[Request], can: float, seconds: float, usual: float
) -> list[str]:
    """Requests come whatever becomes of them."""
    watch = asyncio.create_task(watched(url, seconds))
    asking = []
    began = time.perf_counter()
    for number in itertools.count():
        if (due := number / (TIMES * can)) > seconds:
            break
        await asyncio.sleep(max(0.0, began + due - time.perf_counter()))
        asking.append(asyncio.create_task(ask(url, next(mix))))
    ended = time.perf_counter()
    after = await recovery(url, mix, usual, ended)
    answers, ready = await asyncio.gather(*asking), await watch
    well = [one for one in answers if one.status == 200]
    print(f"asked {len(answers) / seconds:.0f} times a second: {codes(answers)}")
    print(f"answered {len(well) / seconds:.0f} times a second after p50 {percentile(well, 50):.2f}")
    print(f"  s, p95 {percentile(well, 95):.2f} s; turned away after p95", end=" ")
    print(f"{percentile([one for one in answers if one.status == 503], 95):.2f} s")
    print(f"oldest {oldest(answers):.1f} s; ready: {codes(ready)}, oldest {oldest(ready):.1f} s")
    print(f"as quick as before after {after:.1f} s")
    return [*faults(answers), *unready(ready), *late(after)]


async def killed(
    url: str,
    mix: Iterator[Request],
    pushes: Iterator[Request],
    seconds: float,
    usual: float,
) -> list[str]:
    """Clients that push and are killed meanwhile, fifty at a time; and a few others."""
    until = time.perf_counter() + seconds
    watch = asyncio.create_task(watched(url, seconds))

    async def client(number: int) -> None:
        while time.perf_counter() < until:
            await hang_up(url, next(pushes), after=0.02 + 0.01 * (number % 20))

    crowd = [asyncio.create_task(client(number)) for number in range(KILLED)]
    others = await as_answered(url, mix, seconds, clients=4)
    await asyncio.gather(*crowd)
    ended = time.perf_counter()
    after = await recovery(url, mix, usual, ended)
    print(f"{KILLED} killed at a time; of others {codes(others)}, oldest {oldest(others):.1f} s")
    print(f"served as before after {after:.1f} s")
    return [*faults(others), *unready(await watch), *late(after)]


async def watched(url: str, seconds: float) -> list[Answer]:
    """Asked as a proxy asks, twice a second."""
    answers = []
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        answers.append(await ask(url, READY))
        await asyncio.sleep(0.5)
    return answers


async def recovery(url: str, mix: Iterator[Request], usual: float, ended: float) -> float:
    """Seconds after the end until ten in a row, one after the other, are answered as usual."""
    well = 0
    while well < 10 and time.perf_counter() - ended < 6 * RECOVERED:
        answer = await ask(url, next(one for one in mix if not one.may_wait))
        well = well + 1 if answer.status == 200 and answer.age < max(0.5, 2 * usual) else 0
    return time.perf_counter() - ended


def faults(answers: Sequence[Answer]) -> Iterator[str]:
    failed = [one for one in answers if one.status not in {200, 503}]
    if failed:
        yield f"{codes(failed)}, such as {failed[0].request.method} {failed[0].request.path}"
    if any(one.status == 503 and not one.retry_after for one in answers):
        yield "a 503 that does not say when to come again"
    if oldest(answers) > OLDEST:
        yield f"a request of {oldest(answers):.1f} s, at most {OLDEST:g} allowed"


def unready(answers: Sequence[Answer]) -> Iterator[str]:
    if any(one.status != 200 for one in answers):
        yield f"not ready all the while: {codes(answers)}"


def late(after: float) -> Iterator[str]:
    if after > RECOVERED:
        yield f"as before only after {after:.1f} s, {RECOVERED:g} allowed"


if __name__ == "__main__":
    sys.exit(main())

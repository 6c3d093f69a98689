"""What a read that a replica answers costs the primary, and what pushes cost meanwhile.

    python deploy/bench/replica.py [--rounds 5] [--reads 100] [--animals 300] [--before FOLDER]

One primary, durable as in production, a streaming replica of it, and two web services: one reads
from the primary, the other from the replica. Each kind of read is sent to both in turn, by one
reader and by as many as a process has places and chairs for; printed is how long the primary's
sessions were on a processor for one read (`/proc/PID/schedstat`), and how long a client waited in
the middle. Then both take pushes, in turn. Everything shares one machine, so that nothing is said
of how many more readers replicas serve. With ``--before``, the `server` folder of an older
checkout, a third service reads from the replica as that one does, in turn with the others.

Fails where reads from the replica, one of each kind, cost the primary more than 5 % of what they
cost there. A small read may cost more by itself: to ask the primary anything takes as long as it
takes to wake a session.
"""

import argparse
import json
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from http.client import HTTPConnection
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import psutil
import psycopg
from running import service, verdict

from stack.local import LocalStack
from stack.postgres import APP, Postgres
from stack.ready import LOOPBACK, free_port, http_ok
from stack.replica import Replica

if TYPE_CHECKING:
    from sync_parts import Herd

MOST = 0.05
FIRST = 20
"""Reads of each kind that are not counted: connections, plans, caches."""


@dataclass(frozen=True)
class Read:
    what: str
    path: str
    headers: Sequence[dict[str, str]]
    """Of devices that take turns, as one may not ask as often as this does."""


def main() -> int:
    asked = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    asked.add_argument("--rounds", type=int, default=5)
    asked.add_argument("--reads", type=int, default=100, help="of each kind, in a round")
    asked.add_argument("--animals", type=int, default=300)
    asked.add_argument("--before", type=Path, help="the server folder of an older checkout")
    given = asked.parse_args()
    with service(worker=False) as stack:
        primary = Postgres(stack.folder / "postgres", stack.postgres and stack.postgres.port)
        following = Replica(stack.folder / "replica", primary)
        following.start(stack.supervisor)
        urls = [stack.url, _reading_web(stack, following, "reading_web")]
        if given.before:
            urls.append(_reading_web(stack, following, "older_web", given.before))
        misses = list(_measured(urls, primary, given))
    return verdict(misses, "reads from the replica cost the primary next to nothing")


def _reading_web(stack: LocalStack, following: Replica, name: str, code: Path | None = None) -> str:
    """Of this code, or that in another folder."""
    url = f"http://{LOOPBACK}:{(port := free_port())}"
    options = ["-c", "python:scalewitness.serving.web_server", "--bind", f"{LOOPBACK}:{port}"]
    web = stack.python(name, "gunicorn", *options, "scalewitness.wsgi")
    env = {**web.env, "DATABASE_REPLICA_URL": following.app_url()}
    if code:
        env["PYTHONPATH"] = str(code.resolve())
    stack.supervisor.start(replace(web, env=env, ready=http_ok(f"{url}/health/ready"), where=url))
    return url


def _measured(urls: Sequence[str], primary: Postgres, given: argparse.Namespace) -> Iterator[str]:
    from sync_parts import Herd  # noqa: PLC0415  needs Django to be set up

    from scalewitness.serving.rooms import READERS, WAITING_READERS  # noqa: PLC0415

    herd = Herd("Wilhelmina Stroud", given.animals)
    herd.call_all(3 * given.animals)
    _sign()
    with psycopg.connect(primary.superuser_url(), autocommit=True) as line:
        line.execute("VACUUM ANALYZE")
        line.execute("CHECKPOINT")
    time.sleep(1)  # until the replica has applied that
    reads = _reads(herd, urls[0])
    for many in (1, READERS + WAITING_READERS):
        print(f"\n{many} at a time              primary, ms of processor a read; client, p50 ms")
        with ThreadPoolExecutor(many) as readers:
            yield from _costs(reads, urls, primary, readers, many, given)
    for size in (1, 100):
        slow = _pushes(herd, urls[:2], size, given.rounds * (20 if size == 1 else 4))
        print(
            f"push of {size:3}: p50 {slow[0]:6.1f} ms without a replica, {slow[1]:6.1f} ms with one"
        )


def _costs(
    reads: Sequence[Read],
    urls: Sequence[str],
    primary: Postgres,
    readers: ThreadPoolExecutor,
    many: int,
    given: argparse.Namespace,
) -> Iterator[str]:
    """Prints them; yields what costs too much."""
    totals = [0.0] * len(urls)
    for read in reads:
        costs, middles = _cost(read, urls, primary, readers, many, given)
        totals = [sum(pair) for pair in zip(totals, costs, strict=True)]
        print(f"{read.what:20}  {_shares(costs)}   client {_in_ms(middles)}", flush=True)
    print(f"{'all, one of each':20}  {_shares(totals)}", flush=True)
    if totals[1] > MOST * totals[0]:
        yield f"all, {many} at a time: {totals[1] / totals[0]:.1%}"


def _shares(costs: Sequence[float]) -> str:
    there, *asked = costs
    return f"{there:7.3f} read there, asked " + ", ".join(
        f"{one:6.3f} ({one / there:5.1%})" for one in asked
    )


def _in_ms(middles: Sequence[float]) -> str:
    return " ".join(f"{one:6.1f}" for one in middles)


def _sign() -> None:
    from django.utils import timezone  # noqa: PLC0415

    from scalewitness.ledger.services.signing import sign_checkpoint  # noqa: PLC0415

    sign_checkpoint(timezone.now())


def _reads(herd: "Herd", url: str) -> list[Read]:
    from django.test import Client  # noqa: PLC0415

    from scalewitness.ledger.queries.tree import tip  # noqa: PLC0415

    client = Client()
    client.force_login(herd.keeper)
    browser = {"Cookie": f"sessionid={client.cookies['sessionid'].value}"}
    browsers, devices = [browser], [herd.headers(number) for number in range(4)]
    nobody: list[dict[str, str]] = [{}]
    one, size, cursor = herd.animals[0], tip().size, _cursor(url, devices[0])
    api = "/api/v1"
    return [
        Read("page: Today", "/", browsers),
        Read("page: an animal", f"/animals/{one}", browsers),
        Read("page: its history", f"/animals/{one}/history", browsers),
        Read("page: a collection", f"/collections/{herd.collection}", browsers),
        Read("API: an animal", f"{api}/animals/{one}", devices),
        Read("API: its standing", f"{api}/animals/{one}/standing", devices),
        Read("API: 200 animals", f"{api}/animals?limit=200", devices),
        Read("feed: from nothing", f"{api}/changes?limit=100", devices),
        Read("feed: nothing new", f"{api}/changes?cursor={cursor}", devices),
        Read("tile", "/log/tile/0/000", nobody),
        Read("proof of growth", f"{api}/log/consistency?old=100&new={size}", nobody),
    ]


def _cursor(url: str, device: dict[str, str]) -> str:
    path = "/api/v1/changes?limit=1000"
    found = json.loads(_send(_line(url), "GET", path, device))
    while found["more"]:
        found = json.loads(_send(_line(url), "GET", f"{path}&cursor={found['cursor']}", device))
    return str(found["cursor"])


def _cost(
    read: Read,
    urls: Sequence[str],
    primary: Postgres,
    readers: ThreadPoolExecutor,
    many: int,
    given: argparse.Namespace,
) -> tuple[list[float], list[float]]:
    """Milliseconds of a processor at the primary for one read from each; what the client waited."""
    lines = [[_line(url) for _ in range(many)] for url in urls]
    each = max(1, given.reads // many)
    busy = [0.0] * len(urls)
    waited: list[list[float]] = [[] for _ in urls]

    def send(which: int, number: int, count: int) -> None:
        def one(reader: int) -> list[float]:
            headers = read.headers[(number + reader) % len(read.headers)]
            return _send_all(lines[which][reader], read.path, headers, count)

        for took in readers.map(one, range(many)):
            waited[which] += took

    for which in range(len(urls)):
        send(which, 0, max(1, FIRST // many))
        waited[which].clear()
    for number in range(given.rounds):
        for which in range(len(urls))[:: 1 if number % 2 else -1]:
            before = _on_processor(primary)
            send(which, number, each)
            busy[which] += _on_processor(primary) - before
    count = given.rounds * each * many / 1000
    return [one / count for one in busy], [1000 * median(one) for one in waited]


def _on_processor(server: Postgres) -> float:
    """Seconds, of all sessions of the application."""
    postmaster = psutil.Process(int((server._data / "postmaster.pid").read_text().split()[0]))
    return sum(map(_seconds, postmaster.children()))


def _seconds(process: psutil.Process) -> float:
    try:
        if f" {APP} " not in " ".join(process.cmdline()):
            return 0.0
        return int(Path(f"/proc/{process.pid}/schedstat").read_text().split()[0]) / 1e9
    except (psutil.NoSuchProcess, FileNotFoundError):
        return 0.0


def _pushes(herd: "Herd", urls: Sequence[str], size: int, rounds: int) -> list[float]:
    lines = [_line(url) for url in urls]
    took: list[list[float]] = [[], []]
    for number in range(rounds):
        for which in (0, 1) if number % 2 else (1, 0):
            body = json.dumps({"items": herd.calls(size)}).encode()
            began = time.perf_counter()
            _send(lines[which], "POST", "/api/v1/push", herd.headers(number), body)
            took[which].append(time.perf_counter() - began)
    return [1000 * median(one) for one in took]


def _line(url: str) -> HTTPConnection:
    return HTTPConnection(str(urlsplit(url).netloc), timeout=60)


def _send_all(line: HTTPConnection, path: str, headers: dict[str, str], count: int) -> list[float]:
    took = []
    for _ in range(count):
        began = time.perf_counter()
        _send(line, "GET", path, headers)
        took.append(time.perf_counter() - began)
    return took


def _send(
    line: HTTPConnection, method: str, path: str, headers: dict[str, str], body: bytes = b""
) -> bytes:
    line.request(method, path, body=body or None, headers=headers)
    answer = line.getresponse()
    text = answer.read()
    if answer.status != 200:
        raise SystemExit(f"{method} {path}: {answer.status} {text[:300]!r}")
    return text


if __name__ == "__main__":
    sys.exit(main())

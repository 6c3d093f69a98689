"""The measurements of `sync.py`, which sets Django up before this is imported."""

import http.client
import itertools
import json
import secrets
import statistics
import threading
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlsplit
from uuid import UUID

import psycopg
from cast import fresh_id, keeper
from django.utils import timezone

from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.people.services import enrol_device
from stack.local import LocalStack

_NUMBERS = itertools.count(1)
"""Of keepers, so that each has an address of their own."""
CALLS_EACH = 3
SMALL = 10_000
LARGEST = 500
"""Calls in a push: the most the server takes, and what its clients send when much waits."""
DEVICES = 4
"""Enough that no device sends more than it may in a minute."""
A_CONNECTION = 10
"""Batches that come over one connection (our judgement)."""
NOTE = (
    "calm while held, tail straight, both passes glided freely to the same depth and came back "
    "clean, second pass as the first, no sign of harm afterwards, drank and went to its hide"
)


@dataclass(frozen=True)
class Figure:
    """``what`` was measured, how many ``records`` a second or, where that is None, how many
    milliseconds in the middle."""

    what: str
    records: float | None = None
    middle: float | None = None
    high: float | None = None

    def __str__(self) -> str:
        if self.records is not None:
            return f"{self.what}: {self.records:,.0f} records/s"
        return f"{self.what}: p50 {self.middle:.2f} ms, p95 {self.high:.2f} ms"


def better(first: Sequence[Figure], second: Sequence[Figure]) -> list[Figure]:
    """Of each figure measured twice the better one."""
    return [
        max(one, two, key=lambda figure: figure.records or -(figure.middle or 0))
        for one, two in zip(first, second, strict=True)
    ]


def measure(stack: LocalStack, parts: Sequence[str], seconds: float, large: int) -> list[Figure]:
    found: list[Figure] = []
    url = stack.url
    if "push" in parts:
        found += pushing(stack, seconds)
    if "pull" in parts or "change" in parts:
        small = _herd(stack, SMALL)
        if "pull" in parts:
            found.append(pulling(small, url))
        if "change" in parts:
            found += one_change({SMALL: small, large: _herd(stack, large)}, url, seconds)
    return found


def _herd(stack: LocalStack, count: int) -> "Herd":
    """Of a keeper who sees so many calls."""
    herd = Herd("Wilhelmina Stroud", -(-count // CALLS_EACH))
    herd.call_all(count)
    _settle(stack.owner_url)
    return herd


def _settle(owner: str) -> None:
    """Have PostgreSQL do at once what it would do in the background meanwhile."""
    with psycopg.connect(owner, autocommit=True) as line:
        line.execute("VACUUM ANALYZE")


class Herd:
    """A keeper with so many animals and the tokens of their devices, put there directly."""

    def __init__(self, name: str, animals: int) -> None:
        self.now = timezone.now()
        self.keeper = keeper(f"{name} {next(_NUMBERS)}")
        self.tokens = [
            enrol_device(self.keeper, f"Device {n}", self.now)[1] for n in range(DEVICES)
        ]
        collection = create_collection(self.keeper, fresh_id(), "The long room", self.now)
        self.collection = collection.pk
        self.animals = [fresh_id() for _ in range(animals)]
        body = {"collection": str(collection.pk), "species": "python_regius"}
        self._take(self._item("animal_registered", one, body) for one in self.animals)
        self._turn = itertools.count()

    def calls(self, count: int) -> list[dict[str, Any]]:
        return [self._call(next(self._turn)) for _ in range(count)]

    def call_all(self, count: int) -> None:
        self._take(self.calls(count))

    def headers(self, number: int) -> dict[str, str]:
        token = self.tokens[number % DEVICES]
        return {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def _call(self, number: int) -> dict[str, Any]:
        animal = self.animals[number // CALLS_EACH % len(self.animals)]
        depth = str(6 + number % 5)
        body = {
            "conclusion": "male",
            "held_by": "examiner",
            "identified": {"by": "tag", "code": f"T-{number // CALLS_EACH}"},
            "observed": {
                "method": "probing",
                "passes": [
                    {"side": "left", "depth": depth, "stopped": "resistance"},
                    {"side": "right", "depth": depth, "stopped": "resistance"},
                ],
            },
            "sureness": "certain",
        }
        note = {"text": NOTE, "salt": secrets.token_hex(32)}
        return self._item("call_made", animal, body, texts={"note": note})

    def _item(self, kind: str, about: UUID, body: dict[str, Any], **more: Any) -> dict[str, Any]:
        sent = {"id": str(fresh_id()), "kind": kind, "at": rfc3339(self.now), "about": str(about)}
        return {**sent, "body": body, **more}

    def _take(self, items: Iterable[dict[str, Any]]) -> None:
        for batch in _batches(items, 500):
            outcomes = accept(batch, Actor(keeper=self.keeper.pk), self.now)
            for refused in (one for one in outcomes if one.status != "accepted"):
                raise RuntimeError(f"refused: {refused}")


def _batches(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    listed = iter(items)
    while batch := list(itertools.islice(listed, size)):
        yield batch


# --- pushing ------------------------------------------------------------------------------


def pushing(stack: LocalStack, seconds: float) -> Iterator[Figure]:
    """Each client is a keeper with animals of their own, and calls on each of them. PostgreSQL
    knows its tables, and the server is warm: each worker has had its requests."""
    herds = [Herd("Wilhelmina Stroud", 2_000) for _ in range(4)]
    for herd in herds:
        herd.call_all(2_000 * CALLS_EACH)
    _settle(stack.owner_url)
    _push(herds, stack.url, 25, 400, 30)
    for size, clients in itertools.product((25, 100, LARGEST), (1, 4)):
        rate = _push(herds[:clients], stack.url, size, 24_000, seconds)
        yield Figure(f"push, {size} calls a batch, {clients} clients", records=rate)


def _push(herds: Sequence[Herd], url: str, size: int, most: int, seconds: float) -> float:
    """Accepted calls a second. Some batches come over one connection, as of a client that has
    much to send, then over a new one, so that the web server's workers share them out anew."""
    prepared = [_bodies(herd, size, most // len(herds)) for herd in herds]
    taken, until = [0] * len(herds), time.perf_counter() + seconds

    def client(number: int) -> None:
        herd = herds[number]
        line = _line(url)
        for turn, body in enumerate(prepared[number]):
            if turn % A_CONNECTION == 0:
                line.close()  # the next request opens it anew
            answer = _asked(line, "POST", "/api/v1/push", body, herd.headers(turn))
            if any(one["status"] != "accepted" for one in answer["items"]):
                raise RuntimeError(f"not accepted: {answer['items'][0]}")
            taken[number] += len(answer["items"])
            if time.perf_counter() > until:
                break
        line.close()

    began = time.perf_counter()
    threads = [threading.Thread(target=client, args=(number,)) for number in range(len(herds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(taken) / (time.perf_counter() - began)


def _bodies(herd: Herd, size: int, most: int) -> list[bytes]:
    batches = _batches(herd.calls(most), size)
    return [json.dumps({"items": one}).encode() for one in batches]


# --- pulling ------------------------------------------------------------------------------


def pulling(herd: Herd, url: str) -> Figure:
    """Everything the keeper sees; a record is one entry of the log."""
    line, best = _line(url), 0.0
    for number in range(3):
        began, entries = time.perf_counter(), 0
        for page in _pages(line, herd.headers(number), None):
            entries += page.count(b'"position":')
        best = max(best, entries / (time.perf_counter() - began))
    return Figure(f"pull of {SMALL:,} calls and what is about them", records=best)


def one_change(herds: Mapping[int, Herd], url: str, seconds: float) -> list[Figure]:
    """What one more call brings, by how many the keeper sees. They take turns, one change each,
    so that what slows the machine for a while slows all of them."""
    followers = {count: Follower(herd, url) for count, herd in herds.items()}
    until = time.perf_counter() + len(herds) * max(seconds, 4)
    for number in range(200):
        for one in followers.values():
            one.follow(number)
        if time.perf_counter() > until:
            break
    return [one.figure(count) for count, one in followers.items()]


class Follower:
    """A keeper's client that pushes a call and pulls it, with the cursor from before."""

    def __init__(self, herd: Herd, url: str) -> None:
        self._herd, self._line = herd, _line(url)
        self._took: list[float] = []
        for page in _pages(self._line, herd.headers(0), None):
            self._cursor = json.loads(page)["cursor"]

    def follow(self, number: int) -> None:
        line, headers = self._line, self._herd.headers(number)
        (call,) = self._herd.calls(1)
        _asked(line, "POST", "/api/v1/push", json.dumps({"items": [call]}).encode(), headers)
        began = time.perf_counter()
        page = _raw(line, "GET", f"{_CHANGES}&cursor={quote(self._cursor)}", None, headers)
        self._took.append(1000 * (time.perf_counter() - began))
        found = json.loads(page)
        self._cursor = found["cursor"]
        if call["id"].encode() not in page or found["more"]:
            raise RuntimeError("the call is not in the page")

    def figure(self, count: int) -> Figure:
        took = sorted(self._took)
        what = f"one change out of {count:,} calls"
        return Figure(what, middle=statistics.median(took), high=took[len(took) * 95 // 100])


_CHANGES = "/api/v1/changes?limit=1000"


def _pages(
    line: http.client.HTTPConnection, headers: dict[str, str], cursor: str | None
) -> Iterator[bytes]:
    while True:
        after = f"&cursor={quote(cursor)}" if cursor else ""
        page = _raw(line, "GET", _CHANGES + after, None, headers)
        yield page
        ending = json.loads(b"{" + page[page.rindex(b'"cursor"') :])
        cursor = ending["cursor"]
        if not ending["more"]:
            return


# --- the line -----------------------------------------------------------------------------


def _line(url: str) -> http.client.HTTPConnection:
    parts = urlsplit(url)
    return http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=60)


def _asked(
    line: http.client.HTTPConnection, method: str, path: str, body: bytes, headers: dict[str, str]
) -> Any:
    return json.loads(_raw(line, method, path, body, headers))


def _raw(
    line: http.client.HTTPConnection,
    method: str,
    path: str,
    body: bytes | None,
    headers: dict[str, str],
) -> bytes:
    line.request(method, path, body, headers)
    answer = line.getresponse()
    read = answer.read()
    if answer.status != 200:
        raise RuntimeError(f"{answer.status}: {read[:300]!r}")
    return read

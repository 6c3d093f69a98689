"""What a process counts and times, for `GET /metrics`; nothing about anyone.

The web's processes share a folder (`COUNTS`), which `serving.web_server` makes for them, so that
whichever answers tells of all. Other processes count for themselves alone, and nobody asks them.
"""

import os
from collections import Counter as Tally
from threading import Lock
from time import monotonic
from typing import Any, Final

from django.conf import settings
from django.db import connections
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.multiprocess import MultiProcessCollector

from scalewitness.monitoring import COUNTS

NOTED_APART: Final = 0.5
"""Seconds between two looks at what a process has open (our judgement)."""

_here = CollectorRegistry()

_REQUESTS = Histogram(
    "scalewitness_request_seconds",
    "From a request's arrival to its answer, by route.",
    ["route"],
    buckets=(0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10),
    registry=_here,
)
_ANSWERS = Counter(
    "scalewitness_answers",
    "Answers given, by route and status.",
    ["route", "status"],
    registry=_here,
)
READS = Counter(
    "scalewitness_replica_reads",
    "Reads that a replica was tried for: whether it answered, and else why not.",
    ["outcome"],
    registry=_here,
)
LOCK_WAIT = Histogram(
    "scalewitness_log_lock_wait_seconds",
    "Waiting for the log's lock, in PostgreSQL.",
    buckets=(0.001, 0.005, 0.025, 0.1, 0.25, 0.5, 1, 1.5),
    registry=_here,
)
TURN_WAIT = Histogram(
    "scalewitness_turn_wait_seconds",
    "Waiting for a turn to write, in one process, before the lock.",
    buckets=(0.001, 0.005, 0.025, 0.1, 0.25, 0.5, 1, 1.5),
    registry=_here,
)


def _sum(name: str, text: str, labels: tuple[str, ...] = ()) -> Gauge:
    """Of all processes that live."""
    return Gauge(name, text, labels, multiprocess_mode="livesum", registry=_here)


FEED_WAITING = _sum("scalewitness_feed_waiting", "Requests that wait for a change.")
_FEED_PLACES = _sum("scalewitness_feed_places", "Requests that may wait for a change.")
_PROCESSES = _sum("scalewitness_web_processes", "Processes that answered lately.")
_MEMORY = _sum("scalewitness_web_memory_bytes", "Resident memory of the web's processes.")
_CONNECTIONS = _sum(
    "scalewitness_pool_connections", "To PostgreSQL, in use or idle.", ("database", "state")
)
_MOST = _sum("scalewitness_pool_connections_most", "As many as may be.", ("database",))
_WAITING = _sum(
    "scalewitness_pool_waiting", "Threads that wait for a connection now.", ("database",)
)
_POOL_COUNTS: Final = {
    "requests_num": Counter(
        "scalewitness_pool_requests", "Connections asked for.", ["database"], registry=_here
    ),
    "requests_wait_ms": Counter(
        "scalewitness_pool_wait_seconds", "Waiting for one.", ["database"], registry=_here
    ),
    "requests_errors": Counter(
        "scalewitness_pool_errors", "Those that did not come in time.", ["database"], registry=_here
    ),
}


def registry() -> CollectorRegistry:
    """All that was counted: by every process of the web, or, outside it, by this one."""
    if COUNTS not in os.environ:
        return _here
    shared = CollectorRegistry()
    MultiProcessCollector(shared)  # type: ignore[no-untyped-call]
    return shared


def note_answer(route: str, status: int, seconds: float) -> None:
    _REQUESTS.labels(route).observe(seconds)
    _ANSWERS.labels(route, str(status)).inc()


def note_process() -> None:
    """What this process has open, where that was not noted a moment ago."""
    if _noting.is_due():
        _PROCESSES.set(1)
        _FEED_PLACES.set(settings.FEED_WAITERS)
        _MEMORY.set(_resident())
        for alias in connections:
            pool: Any = getattr(connections[alias], "pool", None)
            if pool is not None:
                _note_pool(alias, pool.get_stats())


def _note_pool(alias: str, stats: dict[str, int]) -> None:
    idle = stats["pool_available"]
    _CONNECTIONS.labels(alias, "idle").set(idle)
    _CONNECTIONS.labels(alias, "in_use").set(stats["pool_size"] - idle)
    _MOST.labels(alias).set(stats["pool_max"])
    _WAITING.labels(alias).set(stats["requests_waiting"])
    for name, counter in _POOL_COUNTS.items():
        more = _noting.since(alias, name, stats.get(name, 0))
        counter.labels(alias).inc(more / 1000 if name.endswith("_ms") else more)


class _Noting:
    """When this process last looked, and what its pools had counted by then."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._at = float("-inf")
        self._counted: Tally[tuple[str, str]] = Tally()

    def is_due(self) -> bool:
        with self._guard:
            now = monotonic()
            due = now - self._at >= NOTED_APART
            self._at = now if due else self._at
            return due

    def since(self, alias: str, name: str, counted: int) -> int:
        """How many more there are."""
        with self._guard:
            more = counted - self._counted[alias, name]
            self._counted[alias, name] = counted
            return max(0, more)


_noting = _Noting()


def _resident() -> int:
    with open("/proc/self/statm", "rb") as file:  # noqa: PTH123  at every other request
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")

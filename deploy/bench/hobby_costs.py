"""What the service spends, and how long the log is held, for `hobby.py`; Django is set up before
this is imported."""

import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from typing import NamedTuple

import psutil
import psycopg
from django.utils import timezone

from scalewitness.ledger.models import Head, SignedHead
from scalewitness.mail.models import Letter
from stack.local import LocalStack

GROUPS = ("web", "worker", "postgres")
"""Processes as `stack` starts them, each with those it started."""
LOG_LINE = 0x5CA1E
"""The advisory lock in which writers line up (`scalewitness.ledger.services.writing`)."""
LOOKED_APART = 0.01
SETTLED_WITHIN = 45.0
"""Seconds in which letters are sent and the log is signed, or else this goes on without."""


class Reading(NamedTuple):
    """At one moment: processor seconds by group, bytes of tables, indexes and the WAL so far."""

    at: float
    cores: dict[str, float]
    table: int
    index: int
    wal: int


@dataclass
class Cost:
    """Of one operation. ``cores``: milliseconds by group; ``held``: ms for which the log was
    locked, in wall time; ``requests`` of one; ``middle``: ms of a request, the median."""

    cores: dict[str, float]
    table: float
    index: float
    wal: float
    held: float
    requests: float
    middle: float
    letters: float = 0.0

    @property
    def milliseconds(self) -> float:
        return sum(self.cores.values())


class Meter:
    """Reads what the processes of a ``stack`` spent; ``idle``: cores by group at rest."""

    def __init__(self, stack: LocalStack) -> None:
        if stack.postgres is None:
            raise RuntimeError("only a PostgreSQL of its own can be measured")
        self._rows = stack.supervisor.folder / "running.json"
        self._line = psycopg.connect(stack.postgres.superuser_url(), autocommit=True)
        self.idle = dict.fromkeys(GROUPS, 0.0)

    def roots(self) -> dict[str, psutil.Process]:
        rows = json.loads(self._rows.read_text())
        return {row[0]: psutil.Process(row[1]) for row in rows if row[0] in GROUPS}

    def read(self) -> Reading:
        cores = {name: spent(one) for name, one in self.roots().items()}
        table, index, wal = self._asked(
            "SELECT sum(pg_table_size(oid)), sum(pg_indexes_size(oid)),"
            " pg_current_wal_insert_lsn() - '0/0' FROM pg_class"
            " WHERE relkind = 'r' AND relnamespace = 'public'::regnamespace"
        )
        return Reading(time.perf_counter(), cores, table, index, wal)

    def rest(self, seconds: float) -> None:
        """Learn what is spent while nobody asks for anything."""
        before = self.read()
        time.sleep(seconds)
        after = self.read()
        took = after.at - before.at
        self.idle = {name: (after.cores[name] - before.cores[name]) / took for name in GROUPS}

    def backends(self) -> int:
        (count,) = self._asked(
            "SELECT count(*) FROM pg_stat_activity WHERE usename = 'scalewitness_app'"
        )
        return count

    def between(self, before: Reading, after: Reading, count: int, played: "Played") -> Cost:
        """Of one of ``count`` operations, without what is spent in any case."""
        took = after.at - before.at
        cores = {
            name: 1000
            * max(0.0, after.cores[name] - before.cores[name] - took * self.idle[name])
            / count
            for name in after.cores
        }
        return Cost(
            cores,
            (after.table - before.table) / count,
            (after.index - before.index) / count,
            (after.wal - before.wal) / count,
            1000 * played.held / count,
            len(played.seconds) / count,
            1000 * sorted(played.seconds)[len(played.seconds) // 2] if played.seconds else 0.0,
        )

    def _asked(self, question: str) -> tuple[int, ...]:
        row = self._line.execute(question).fetchone()  # type: ignore[call-overload]
        return tuple(int(one) for one in row)


@dataclass
class Played:
    """What the clients saw: seconds and status of each request; and for how many seconds in all
    the log was ``held``."""

    seconds: list[float] = field(default_factory=list)
    statuses: list[int] = field(default_factory=list)
    held: float = 0.0


@contextmanager
def log_watched(stack: LocalStack, played: Played) -> Iterator[None]:
    """Looks a hundred times a second whether somebody holds the log."""
    done, looks, held = threading.Event(), 0, 0

    def look() -> None:
        nonlocal looks, held
        url = stack.postgres.superuser_url() if stack.postgres else stack.owner_url
        with psycopg.connect(url, autocommit=True) as line:
            while not done.wait(LOOKED_APART):
                held += line.execute(HELD, [LOG_LINE]).fetchone() is not None
                looks += 1

    watcher = threading.Thread(target=look)
    began = time.perf_counter()
    watcher.start()
    try:
        yield
    finally:
        done.set()
        watcher.join()
        played.held = (time.perf_counter() - began) * held / max(1, looks)


ON_THE_WAY = (Letter.State.WAITING, Letter.State.SENDING)
HELD = "SELECT 1 FROM pg_locks WHERE locktype = 'advisory' AND objid = %s AND granted"


def spent(root: psutil.Process) -> float:
    """Processor seconds of a process and all that it started, ended ones too."""
    total = 0.0
    for one in (root, *root.children(recursive=True)):
        try:
            times = one.cpu_times()
        except psutil.NoSuchProcess:
            continue
        total += times.user + times.system + times.children_user + times.children_system
    return total


def settle() -> None:
    """Wait until all letters have left and the log's head is signed."""
    until = time.perf_counter() + SETTLED_WITHIN
    while time.perf_counter() < until:
        waiting = Letter.objects.filter(state__in=ON_THE_WAY, next_try_at__lte=timezone.now())
        signed = SignedHead.objects.get(pk=1).size
        if not waiting.exists() and signed == Head.objects.get(pk=1).size:
            return
        time.sleep(0.25)


def lateness(since: float) -> list[float]:
    """Seconds from owing a letter to the mail host's taking it, of all letters of the last
    ``since`` seconds, in order; a letter that did not leave counts until now."""
    now = timezone.now()
    letters = Letter.objects.filter(created_at__gte=now - timedelta(seconds=since))
    found = letters.exclude(state=Letter.State.JOINED).values_list("created_at", "sent_at")
    return sorted(((sent or now) - made).total_seconds() for made, sent in found)

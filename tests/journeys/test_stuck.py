"""Somebody holds the log's lock and never answers: who pushes is told so soon, reading goes on,
and the holder does not keep the lock for ever. The whole web server, on a database of its own."""

import json
import os
import signal
import socket
import struct
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

import psycopg
import pytest
from tests.journeys.running import DEVICES, Web, running_web
from tests.journeys.test_crashes import envelope
from tests.plugins.services import Services
from tests.stacks import database_for
from tests.waiting import eventually, killed_at_the_end
from tests.world import probing

PUSHERS = 8
ROUNDS = 20
HOLD = "SELECT 1 FROM ledger_head FOR UPDATE"

HOLDER = """
import os, sys
os.environ["SCALEWITNESS_PROCESS"] = "web"
import django
django.setup()
from django.db import transaction
from scalewitness.ledger.services.writing import take_turn
with transaction.atomic():
    take_turn()
    print("has it", flush=True)
    sys.stdin.read()
"""
"""A web process in the middle of a batch, with the timeouts that a web process has."""


@pytest.fixture(scope="module")
def web(
    services: Services, untouched_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Web]:
    with (
        database_for(services, untouched_database, "stuck") as database,
        running_web(tmp_path_factory.mktemp("stuck"), database) as running,
    ):
        yield running


@contextmanager
def idle_in_a_transaction(web: Web) -> Iterator[None]:
    """Somebody at a prompt who has gone for lunch."""
    url = web.stack.environment["DATABASE_URL"]
    with psycopg.connect(url) as holder:
        holder.execute(HOLD)
        yield
        holder.rollback()


@contextmanager
def stopped(web: Web) -> Iterator[None]:
    """A process that holds the lock and does not run, as on a machine that was suspended: its
    end of the connection is there and says nothing."""
    holder = subprocess.Popen(  # noqa: S603  our own
        [sys.executable, "-c", HOLDER],
        env=os.environ | web.stack.environment,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    with killed_at_the_end(holder):
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"has it\n"
        holder.send_signal(signal.SIGSTOP)
        yield


HOLDERS = (idle_in_a_transaction, stopped)


@pytest.mark.parametrize("held", HOLDERS)
@pytest.mark.some(1)
def test_pushes_are_told_to_come_again_and_reading_goes_on(web: Web, held: Any) -> None:
    with ThreadPoolExecutor(PUSHERS) as threads:
        with held(web):
            pushes = [threads.submit(web.push, one % DEVICES) for one in range(PUSHERS)]
            eventually(lambda: waiting_for_the_lock(web), "a push to wait for the lock")
            for path in ("/health/ready", "animals", f"animals/{web.animal}/standing", "changes"):
                assert web.read(path) == 200, path
            answers = [one.result() for one in pushes]
        for answer in answers:
            assert (answer.status_code, answer.json()["code"]) == (503, "busy")
            assert int(answer.headers["Retry-After"]) > 0
    eventually(web.takes_pushes, "the log to take pushes again")


@pytest.mark.long(
    "waits for the database to give it up; "
    "tests/journeys/test_stuck.py::test_pushes_are_told_to_come_again_and_reading_goes_on"
)
def test_a_process_of_ours_that_does_not_answer_loses_the_lock(web: Web) -> None:
    with stopped(web):
        eventually(web.takes_pushes, "the log to take pushes while the holder is stopped")


def test_a_stranger_who_does_not_answer_loses_the_lock(web: Web) -> None:
    """Whoever comes with a client of their own and says nothing of timeouts has those of the
    database."""
    with psycopg.connect(web.stack.environment["DATABASE_URL"]) as holder:
        (kept,) = holder.execute("SHOW idle_in_transaction_session_timeout").fetchone() or ("",)
        assert kept == "1min"
        (kept,) = holder.execute("SHOW tcp_keepalives_idle").fetchone() or ("",)
        assert kept == "10"


def test_fifty_clients_killed_while_they_push_keep_nobody_out(web: Web) -> None:
    """Their lines are cut before they are answered, again and again, while somebody holds the
    lock so that each of them waits. What nobody waits for is given up, and reading goes on."""
    before = entries(web)
    with idle_in_a_transaction(web):
        for _ in range(ROUNDS):
            for cut in [begun_push(web) for _ in range(50)]:
                cut()
        assert web.read("keepers/me") == 200
    eventually(web.takes_pushes, "the log to take pushes again")
    assert entries(web) - before < ROUNDS * 50 / 4, "most were given up"


def waiting_for_the_lock(web: Web) -> int:
    return rows(web, "SELECT count(*) FROM pg_locks WHERE NOT granted")


def entries(web: Web) -> int:
    return rows(web, "SELECT count(*) FROM ledger_entry")


def rows(web: Web, sql: str) -> int:
    with psycopg.connect(web.stack.owner_url) as connection:
        ((found,),) = connection.execute(sql.encode()).fetchall()
        return int(found)


def begun_push(web: Web) -> Callable[[], None]:
    """A push sent over a line of its own; what cuts it."""
    call = envelope("call_made", web.animal, probing("male", "A1"))
    body = json.dumps({"items": [call]}).encode()
    head = f"POST /api/v1/push HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {web.token}\r\n"
    head += f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    line = socket.create_connection(("127.0.0.1", web.stack.port))
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    line.sendall(head.encode() + body)
    return line.close

"""``python -m scalewitness beat``: the clock of the worker's tasks, on as many hosts as one likes.

A lock in the database lets one of them run. It is of a session, so PostgreSQL lets go of it where
the session ends. Whoever cannot see for a few seconds that it still has the lock ends itself, and
is to be started again. Tasks can be run twice: two clocks for a moment cost work and nothing else.
"""

import os
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from threading import Event, Thread
from time import sleep
from typing import Any, Final

import structlog
from celery.bin.celery import celery
from django.core.management.base import BaseCommand
from django.db import Error, connection

from scalewitness.postgresql.hanging_up import LINES

log = structlog.get_logger()

LOCK: Final = 0x5CA1EBEA7
LOOKS: Final = 2.0
"""Seconds between two looks at the lock (our judgement)."""
ANSWERS_WITHIN: Final = 5.0
"""Seconds within which PostgreSQL has to say that the lock is still held (our judgement)."""
TAKE: Final = "SELECT pg_try_advisory_lock(%s)"
HELD: Final = "SELECT true"


class Command(BaseCommand):
    help = "Runs the tasks' clock, on one host of those on which this runs; the others wait."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--schedule", help="the file in which beat notes what it did last")

    def handle(self, *args: Any, **options: Any) -> None:
        ours = Event()
        Thread(target=_hold, args=[ours], name="lock", daemon=True).start()
        ours.wait()
        log.info("beat_begins")
        schedule = options["schedule"] or Path(tempfile.mkdtemp()) / "schedule"
        celery(["-A", "scalewitness.celery", "beat", "--schedule", str(schedule)])


def _hold(ours: Event) -> None:
    """Take the lock, and end this process where it cannot be seen to be held any more."""
    try:
        while not _asked(TAKE, [LOCK]):
            sleep(LOOKS)
        ours.set()
        while _asked(HELD):  # by the session that has it
            sleep(LOOKS)
    except Error as lost:
        log.warning("beat_ends", error=type(lost).__name__)
        os._exit(1)


def _asked(query: str, values: list[int] | None = None) -> bool:
    connection.ensure_connection()
    line = connection.connection.fileno()
    with LINES.hung_up_after(ANSWERS_WITHIN, line), connection.cursor() as cursor:
        cursor.execute(query, values)
        return bool(cursor.fetchone()[0])

"""The Celery application: letters leave through it, nothing is decided in it."""

import os
import sys
from logging.config import dictConfig
from time import monotonic, time
from typing import Any
from uuid import uuid4

import django
import structlog
from celery import Celery
from celery.signals import (
    before_task_publish,
    celeryd_init,
    heartbeat_sent,
    setup_logging,
    task_postrun,
    task_prerun,
    worker_init,
    worker_process_init,
)
from django.conf import settings
from django.db import DatabaseError, connection
from psycopg_pool import PoolTimeout
from structlog.contextvars import bind_contextvars, clear_contextvars

from scalewitness.monitoring import pulse
from scalewitness.serving.logs import log_what_nobody_caught
from scalewitness.serving.traces import start_tracing

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
os.environ["SCALEWITNESS_PROCESS"] = "worker"

app = Celery("scalewitness")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

log = structlog.get_logger()

SLOW = 1.0
"""Seconds from which on a task has a line of its own in the log, as has one that failed or that a
request asked for. Others are many, and counted (our judgement)."""


@celeryd_init.connect  # the worker warns of things before it thinks of its log
@setup_logging.connect
def log_as_settings_say(**_: object) -> None:
    dictConfig(settings.LOGGING)
    log_what_nobody_caught()


@worker_init.connect
def require_able(**_: object) -> None:
    """A worker of a release that may not run on the tables there are stops, and says why."""
    django.setup()
    from scalewitness.ledger.services.releases import unable  # noqa: PLC0415  needs Django set up

    try:
        fault = unable(connection)
    except (DatabaseError, PoolTimeout):  # down: its tasks wait for it
        fault = None
    # Its processes are forked from this one. (Of PostgreSQL's connections alone.)
    connection.close_pool()  # type: ignore[attr-defined]
    if fault:
        sys.exit(fault)


@worker_init.connect
def stand_back(**_: object) -> None:
    """Somebody waits for every page, and for no letter so closely."""
    os.nice(10)


@worker_process_init.connect
def trace(**_: object) -> None:
    start_tracing("worker")


@heartbeat_sent.connect
def note_worker(sender: Any, **_: object) -> None:
    """Celery sends one every two seconds."""
    if monotonic() - _Sign.given >= pulse.SIGN_EVERY:
        _Sign.given = monotonic()
        pulse.note_worker(str(sender.eventer.hostname), time())


@before_task_publish.connect
def note_beat(headers: Any, **_: object) -> None:
    """What a request asks for bears its id; all else that is sent from here, beat sends."""
    if "request_id" not in headers:
        pulse.note_beat(time())


@task_prerun.connect
def begin(task: Any, **_: object) -> None:
    clear_contextvars()
    asked_by = getattr(task.request, "request_id", None)
    bind_contextvars(request_id=asked_by or uuid4().hex, task=task.name)
    task.request.begun = monotonic()


@task_postrun.connect
def end(task: Any, state: str, **_: object) -> None:
    took, failed = monotonic() - task.request.begun, state != "SUCCESS"
    pulse.note_task(task.name, time(), took, failed=failed)
    worth_a_line = failed or took >= SLOW or hasattr(task.request, "request_id")
    (log.info if worth_a_line else log.debug)("task", state=state, seconds=round(took, 4))
    clear_contextvars()


class _Sign:
    """When this process last gave one."""

    given = float("-inf")

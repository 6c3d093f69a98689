"""How gunicorn runs the web process::

    gunicorn -c python:scalewitness.serving.web_server scalewitness.wsgi

Whatever else is to be set goes behind it (``--bind``, ``--workers``), into ``WEB_THREADS``, or
into gunicorn's own ``GUNICORN_CMD_ARGS``.
"""

import gc
import os
import shutil
import sys
import tempfile
from datetime import timedelta
from typing import Any, Final

import django
import structlog
from django.conf import settings
from django.urls import get_resolver
from gunicorn.config import Config
from gunicorn.glogging import Logger

from scalewitness import env_file
from scalewitness.monitoring import COUNTS
from scalewitness.serving.arenas import share_few_arenas
from scalewitness.serving.logs import json_lines
from scalewitness.serving.noted import NOTED, RequestNotes
from scalewitness.serving.rooms import LEAST_CONNECTIONS, least_threads
from scalewitness.serving.static_files import are_collected

_log = structlog.get_logger("gunicorn.access")

LARGEST_READ: Final = 4_000_000
"""Bytes of a body: an operation that takes no more refuses it, and leaves the rest unread."""
WATCHING: Final = {"/health/live", "/health/ready", "/metrics"}
"""Routes of what watches this process."""


class JsonLogger(Logger):
    """gunicorn's, for its error log, and for a line of each request."""

    def setup(self, cfg: Config) -> None:
        super().setup(cfg)
        for handler in (*self.error_log.handlers, *self.access_log.handlers):
            handler.setFormatter(json_lines())

    def access(self, resp: Any, req: Any, environ: dict[str, Any], request_time: timedelta) -> None:
        """Not of what only watches this process, as long as all is well. Without how long the
        answer was: one's collection is as long tomorrow, and tells whose it is."""
        noted: RequestNotes | None = environ.get(NOTED)
        if noted is None or (noted.route in WATCHING and noted.status == 200):
            return
        _log.info(
            "request",
            request_id=noted.id,
            method=environ["REQUEST_METHOD"],
            route=noted.route,
            status=noted.status,
            seconds=round(request_time.total_seconds(), 4),
            keeper=noted.keeper,
        )


os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scalewitness.settings")
try:
    env_file.load()
except env_file.BadEnvFile as fault:
    sys.exit(str(fault))
workers = 2
worker_class = "gthread"
threads = int(os.environ.get("WEB_THREADS") or 136)
keepalive = 75
"""Longer than clients and proxies keep an idle connection, so that they are the ones to close it:
a request sent into a closing connection is lost without an answer."""
control_socket_disable = True
"""It would sit in the home folder, shared with every other gunicorn."""
accesslog = "-"
logger_class = JsonLogger


def on_starting(server: Any) -> None:
    """Load what all workers need, once and before they are forked: one is ready the sooner, also
    in place of one that died. Nothing here may connect anywhere. A new version wants a restart.

    Raises:
        RuntimeError: the process could not serve what it is to, see :func:`require_enough`.
    """
    share_few_arenas()
    os.environ["SCALEWITNESS_PROCESS"] = "web"
    os.environ[COUNTS] = tempfile.mkdtemp(prefix="scalewitness-counts-")
    if server.cfg.uid != os.geteuid():
        os.chown(os.environ[COUNTS], server.cfg.uid, server.cfg.gid)
    django.setup()
    get_resolver().url_patterns  # noqa: B018  it loads every view
    gc.freeze()
    require_enough(server.cfg)


def require_enough(cfg: Config) -> None:
    """
    Raises:
        RuntimeError: gunicorn shows its words and ends. Threads or connections do not suffice for
            what `FEED_WAITERS` and `admission` let in, or the static files are another version's.
    """
    waiters, given = settings.FEED_WAITERS, settings.WEB_THREADS
    threads = least_threads(waiters)
    pool, kind = settings.WEB_CONNECTIONS, cfg.worker_class_str
    faults = (
        (kind != "gthread", f"Leave --worker-class out: requests wait in threads, not in {kind}."),
        (
            cfg.threads != given,
            f"Leave --threads out: WEB_THREADS={given} says it.",
        ),
        (
            given < threads,
            f"WEB_THREADS={given}, and beside FEED_WAITERS={waiters} at least {threads} are "
            "needed.",
        ),
        (
            pool < LEAST_CONNECTIONS,
            f"DATABASE_POOL_MAX={pool}, and at least {LEAST_CONNECTIONS} are needed.",
        ),
        (
            not settings.WHITENOISE_USE_FINDERS and not are_collected(),
            f"The static files in {settings.STATIC_ROOT} are not this version's: run "
            "scalewitness-server collectstatic --no-input",
        ),
    )
    if wrong := [words for is_wrong, words in faults if is_wrong]:
        raise RuntimeError("\n".join(wrong))


def child_exit(server: Any, worker: Any) -> None:
    """What a process that ended had open is open no more; what it counted counts."""
    from prometheus_client.multiprocess import mark_process_dead  # noqa: PLC0415  after COUNTS is set

    mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]


def on_exit(server: Any) -> None:
    shutil.rmtree(os.environ[COUNTS], ignore_errors=True)


def pre_request(worker: Any, request: Any) -> None:
    """Say that the connection ends after a body that may be refused unread. gunicorn would close it
    without a word, and the next request on it would be lost."""
    length = dict(request.headers).get("CONTENT-LENGTH", "0")
    if length.isdigit() and int(length) > LARGEST_READ:
        request.must_close = True

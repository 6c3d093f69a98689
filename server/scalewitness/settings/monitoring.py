"""What tells an operator how it goes: logs and numbers."""

from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from scalewitness.serving.logs import configure
from scalewitness.settings.environment import env

METRICS_TOKEN = env.str("METRICS_TOKEN", default="")
"""What `GET /metrics` asks for (``Authorization: Bearer …``), as its numbers are the operator's
business. Without one there is no such address, for anybody: where a request comes from does not
say who asks, since a proxy on the same host comes from the loopback too."""
if METRICS_TOKEN and len(METRICS_TOKEN) < 20:
    raise ImproperlyConfigured("METRICS_TOKEN: at least 20 characters, made at random")
WATCHED_DISKS = env.list("WATCHED_DISKS", default=["/"])
"""Folders, with commas between them: of the disk that each is on, `GET /metrics` tells what is
free. Name the database's too, where it is on this host."""
if _none := [one for one in WATCHED_DISKS if not Path(one).is_dir()]:
    raise ImproperlyConfigured(f"WATCHED_DISKS: there is no folder {_none[0]}")
LOG_LEVEL = env.str("LOG_LEVEL", default="INFO")
"""The least that is logged: ``DEBUG``, ``INFO``, ``WARNING`` or ``ERROR``."""

configure()
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "scalewitness.serving.logs.json_lines"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
    "loggers": {
        "django.request": {"level": "ERROR"},  # what is refused, its own line tells
        "django.security.DisallowedHost": {"level": "CRITICAL"},
        # Of each task we write a line of our own (`scalewitness.celery`).
        "celery.app.trace": {"level": "WARNING"},
        "celery.beat": {"level": "WARNING"},
        "celery.worker.strategy": {"level": "WARNING"},
        "httpx": {"level": "WARNING"},  # it has a line for each request
    },
}

"""Log lines: JSON, one for each event, from Django, Celery, gunicorn, warnings and ourselves.

No line holds a secret, nor tells whose request it was. Either may be in a message, in what it is
filled with, or in what an exception says, so every text is masked as the line is written.
"""

import logging
import sys
import threading
from collections.abc import Mapping
from typing import Any, Final

import structlog
from structlog.stdlib import ProcessorFormatter

from scalewitness.domain.masking import MASK, masked

LONGEST: Final = 4_000
"""Characters of one value: systemd's journal splits a line of 48 KiB (journald.conf, LineMax=), and
then it is JSON no more."""


def mask_event(logger: Any, method: str, event: Any) -> Any:
    """A processor of structlog's: what is written is numbers and masked text, nothing else."""
    return _masked(event)


def _masked(value: Any) -> Any:
    if value is None or isinstance(value, bool | int | float):
        return value
    if isinstance(value, Mapping):
        return {masked(str(name)): _masked(one) for name, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_masked(one) for one in value]
    return masked(str(value))[:LONGEST]


def _without_path(logger: Any, method: str, event: Any) -> Any:
    """Django names the path of a request that went wrong. It may hold an animal's id, by which
    its keeper could be followed; the request's own line has the route."""
    path = getattr(getattr(event["_record"], "request", None), "path", "/")
    if path != "/":
        event["event"] = event["event"].replace(path, MASK)
    return event


_ANYBODYS: Final = (
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
)


def configure() -> None:
    """Have our own events go where those of libraries go."""
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *_ANYBODYS,
            ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
    )


def json_lines() -> logging.Formatter:
    """The one formatter there is."""
    return ProcessorFormatter(
        foreign_pre_chain=[*_ANYBODYS, _without_path],
        processors=[
            ProcessorFormatter.remove_processors_meta,
            structlog.processors.ExceptionRenderer(
                # Values of variables may be names, addresses and passwords.
                structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
            ),
            mask_event,
            structlog.processors.JSONRenderer(),
        ],
    )


def log_what_nobody_caught() -> None:
    """Have a process or thread that ends with an exception say so in a line, and warnings too;
    but to somebody at a terminal as Python does."""
    if sys.stderr.isatty():
        return
    logging.captureWarnings(True)
    lost = logging.getLogger("uncaught")
    sys.excepthook = lambda kind, fault, trace: lost.critical(
        "process_ended", exc_info=(kind, fault, trace)
    )
    threading.excepthook = lambda of: lost.error("thread_ended", exc_info=of.exc_value)

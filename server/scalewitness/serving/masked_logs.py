"""Log lines without secrets: Django's, Celery's, gunicorn's and our own, tracebacks too.

Masked is the line as it is written, since a secret may be in a message, in what it is filled
with, or in what an exception says.
"""

import logging
from typing import Any

from scalewitness.domain.masking import masked


class MaskedFormatter(logging.Formatter):
    """Any other formatter's lines, or by default the plain message with its traceback."""

    def __init__(self, inner: logging.Formatter | None = None) -> None:
        super().__init__()
        self._inner = inner or logging.Formatter()

    def format(self, record: logging.LogRecord) -> str:
        return masked(self._inner.format(record))


def mask_event(logger: Any, method: str, line: Any) -> str:
    """The last of structlog's processors."""
    return masked(line)

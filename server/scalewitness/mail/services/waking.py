"""Asking the worker to look now, without anybody waiting until it was asked."""

from collections.abc import Callable
from threading import Lock, Thread
from uuid import uuid4

import structlog
from celery import Celery
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError
from structlog.contextvars import get_contextvars

log = structlog.get_logger()

DELIVER = "scalewitness.mail.tasks.deliver_waiting"

_producer = Celery("scalewitness-letters", set_as_current=False)
_producer.config_from_object("django.conf:settings", namespace="CELERY")


class Waker:
    """Does something beside what is being done, at most once at a time; what is asked for
    meanwhile is done once more."""

    def __init__(self, act: Callable[[], object]) -> None:
        self._act = act
        self._guard = Lock()
        self._wanted = self._at_it = False

    def wake(self) -> None:
        """Returns at once."""
        with self._guard:
            self._wanted = True
            if not self._at_it:
                self._at_it = True
                Thread(target=self._work, name="waker", daemon=True).start()

    def _work(self) -> None:
        while self._is_wanted():
            try:
                self._act()
            except (OperationalError, RedisError, OSError) as away:
                log.warning("broker_unreachable", error=type(away).__name__)

    def _is_wanted(self) -> bool:
        with self._guard:
            wanted, self._wanted = self._wanted, False
            self._at_it = wanted
            return wanted


class _Asked:
    """By which request, of those that asked since the worker was last told, the last."""

    by = ""


_waker = Waker(lambda: _producer.send_task(DELIVER, retry=False, headers={"request_id": _Asked.by}))


def wake() -> None:
    """Ask the worker to look now. A queue server that is away or does not answer delays
    nobody but the letters: beat looks again anyway."""
    _Asked.by = get_contextvars().get("request_id") or uuid4().hex
    _waker.wake()

"""No test hangs: what still waits after `LONGEST` fails, and shows where every thread was.

The alarm interrupts what the main thread waits for, so the test's own clearing up still runs.
What does not even let itself be interrupted is ended by pytest's ``faulthandler_timeout``,
with the whole process; see ``pyproject.toml``.
"""

import signal
import sys
import threading
import time
import traceback
from collections.abc import Generator, Iterator
from contextlib import contextmanager

import pytest

LONGEST = 600.0
"""Seconds for a test, its setting up or its clearing up, each. Our judgement: many times what
the longest takes on a machine with more to do than it can. Twice that where the process computed
for a thirtieth of it: who waits in vain does not, and who hardly gets a processor does."""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup(item: pytest.Item) -> Generator[None, object, object]:
    with bounded(f"setting up {item.nodeid}"):
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, object, object]:
    with bounded(item.nodeid):
        return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item: pytest.Item) -> Generator[None, object, object]:
    with bounded(f"clearing up after {item.nodeid}"):
        return (yield)


@contextmanager
def bounded(what: str, seconds: float = LONGEST) -> Iterator[None]:
    """Fails when it takes longer, wherever the main thread then is."""

    computed = time.process_time()
    more = True

    def fail(number: int, frame: object) -> None:
        nonlocal more
        if more and time.process_time() - computed > seconds / 30:
            more = False
            signal.setitimer(signal.ITIMER_REAL, seconds)
            return
        pytest.fail(f"{what}: still waiting after {seconds:g} s\n{_elsewhere()}")

    before = signal.signal(signal.SIGALRM, fail)
    rest, _ = signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, rest)
        signal.signal(signal.SIGALRM, before)


def _elsewhere() -> str:
    """Where the other threads are; where the main one is, the failure shows itself."""
    names = {one.ident: one.name for one in threading.enumerate()}
    return "\n".join(
        f"Thread {names.get(ident, ident)}:\n{''.join(traceback.format_stack(frame))}"
        for ident, frame in sys._current_frames().items()
        if ident != threading.main_thread().ident
    )

"""Waiting in tests: for what is to happen, never for a time to pass.

`ENOUGH` bounds every wait, so that a busy machine makes a test slower and never red; what is
waited for in vain is named.
"""

import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import pytest

ENOUGH = 120.0
"""Seconds that any one thing may take. Our judgement: far above what a machine with eight busy
processes on two cores was seen to need; it costs nothing where things go well."""
ENOUGH_MS = ENOUGH * 1000
"""The same for Playwright."""
LOOK = 0.02
"""Seconds between looks at something that cannot tell."""

Found = TypeVar("Found")


def eventually(look: Callable[[], Found], what: str, seconds: float = ENOUGH) -> Found:
    """What `look` finds, once it finds something; fails naming what was waited for."""
    limit = time.monotonic() + seconds
    while not (found := look()):
        if time.monotonic() > limit:
            pytest.fail(f"waited {seconds:g} s in vain for {what}; last seen: {found!r}")
        time.sleep(LOOK)
    return found


@contextmanager
def killed_at_the_end(process: "subprocess.Popen[Any]") -> Iterator[None]:
    """What a test started does not outlive it: leaving a `Popen` waits without an end for a
    process that nobody stopped."""
    with process:
        try:
            yield
        finally:
            process.kill()

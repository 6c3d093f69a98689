"""The service under measurement, on a PostgreSQL of its own, durable as in production."""

import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "server"))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import django

from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


def verdict(misses: Sequence[str], well: str) -> int:
    """Print what was missed, or that all went ``well``; the command's exit status."""
    for one in misses:
        print(f"MISS  {one}")
    if not misses:
        print(f"ok    {well}")
    return 1 if misses else 0


@contextmanager
def service(*, worker: bool, **environment: str) -> Iterator[LocalStack]:
    """Everything running, the ``worker`` if asked for, with more in its ``environment``; this
    process is set up to use its database, so that what needs models can be imported."""
    with tempfile.TemporaryDirectory(prefix="scalewitness-bench-") as folder:
        supervisor = Supervisor(Path(folder), say=lambda name, text: None)
        stack = LocalStack(supervisor, Path(folder), free_port(), given={})
        stack.environment |= environment
        try:
            stack.start_database()
            stack.start_queue()
            stack.start_mail()
            stack.migrate()
            stack.start_web()
            if worker:
                stack.start_worker()
            os.environ |= stack.environment
            django.setup()
            yield stack
        finally:
            supervisor.stop()

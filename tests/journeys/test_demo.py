"""The demo as the README starts it: whoever tries the project out sees this first."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.plugins.bounded import LONGEST

from stack.local import ROOT
from stack.ready import free_port

KEPT = ("PATH", "HOME", "LANG", "PYTHONPATH")
"""Of the tests' environment; their database, queue and mail are not the demo's."""


@pytest.mark.long(
    "the whole demo from nothing; "
    "tests/journeys/test_fixtures.py::test_every_fact_has_the_shape_and_range_the_record_takes"
)
def test_the_demo_loads_and_plays_its_stories(tmp_path: Path) -> None:
    where = ("--data", str(tmp_path / "demo"), "--port", str(free_port()))
    done = subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-m", "stack.demo", "--once", *where],
        env={name: os.environ[name] for name in KEPT if name in os.environ},
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=LONGEST - 10,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    assert "All four stories went as promised" in done.stdout

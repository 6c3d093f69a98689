"""No test hangs, none is left out unseen, and the longest do not come last."""

import os
import re
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from tests.plugins.bounded import bounded
from tests.plugins.longest_first import LONGEST, pytest_collection_modifyitems
from tests.waiting import ENOUGH, eventually

from stack.local import ROOT

TESTS = ROOT / "tests"
TWO = """
import pytest
@pytest.mark.long("twenty kills; tests/test_other.py::test_one_kill")
def test_twenty_kills(): pass
def test_one_kill(): pass
"""


def test_a_wait_that_takes_too_long_fails_and_says_where_everyone_was() -> None:
    held = threading.Event()
    waiting = threading.Thread(target=held.wait, name="a thread of the test")
    waiting.start()
    try:
        with (
            pytest.raises(pytest.fail.Exception) as caught,
            bounded("the example", seconds=0.2),
        ):
            time.sleep(ENOUGH)
    finally:
        held.set()
        waiting.join()
    assert "the example: still waiting after 0.2 s" in str(caught.value)
    assert "Thread a thread of the test:" in str(caught.value)


def compute(seconds: float) -> None:
    began = time.process_time()
    while time.process_time() - began < seconds:
        pass


def test_one_that_computes_has_twice_the_time_and_no_more() -> None:
    began = time.monotonic()
    with bounded("the example", seconds=1.0):
        while time.monotonic() - began < 1.1:
            compute(0.02)
    with (
        pytest.raises(pytest.fail.Exception, match=r"still waiting after 1 s"),
        bounded("the example", seconds=1.0),
    ):
        compute(ENOUGH)


def test_what_was_waited_for_in_vain_is_named() -> None:
    with pytest.raises(pytest.fail.Exception, match="in vain for rain; last seen: 0"):
        eventually(lambda: 0, "rain", seconds=0.05)


def run(folder: Path, *arguments: str) -> str:
    (folder / "test_two.py").write_text(TWO)
    command = [sys.executable, "-m", "pytest", "-p", "tests.plugins.long", "-c", "/dev/null"]
    done = subprocess.run(  # noqa: S603  our own
        [*command, "-p", "xdist", *arguments, str(folder)],
        env=os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},  # most of the time is theirs
        cwd=ROOT, capture_output=True, text=True, timeout=ENOUGH,
    )  # fmt: skip
    return done.stdout + done.stderr


@pytest.mark.parametrize("processes", ["0", "1"])
def test_long_tests_run_with_all_and_are_counted_without(tmp_path: Path, processes: str) -> None:
    ordinary = run(tmp_path, "-n", processes)
    assert "1 passed" in ordinary, ordinary
    assert "1 long tests left out: --all runs them too." in ordinary, ordinary
    everything = run(tmp_path, "-n", processes, "--all")
    assert "2 passed" in everything, everything
    assert "left out" not in everything


def test_every_long_test_names_an_ordinary_one_of_the_same_promise() -> None:
    for file in TESTS.rglob("test_*.py"):
        if file != Path(__file__):
            for why in re.findall(r"mark\.long\((.*?)\)\n", file.read_text(), re.DOTALL):
                named = re.search(r"(tests/\S+\.py)::(test_\w+)", re.sub(r'"\s+"', "", why))
                assert named, f"{file}: {why}"
                found = (ROOT / named[1]).read_text()
                assert f"def {named[2]}(" in found, f"{file}: {named[0]}"


def test_files_of_long_tests_are_there_and_begun_first_in_their_order() -> None:
    assert [one for one in LONGEST if not (TESTS / one).is_file()] == []
    short = ["tests/docs/test_documents.py::test_b", "tests/api/test_log.py::test_a"]
    long = [f"tests/{one}::test_c" for one in LONGEST]
    items: list[Any] = [SimpleNamespace(nodeid=one) for one in [*short, *reversed(long)]]
    pytest_collection_modifyitems(items)
    assert [one.nodeid for one in items] == [*long, *short]

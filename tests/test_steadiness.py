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
from tests.plugins.long import are_proved_without, beyond
from tests.plugins.longest_first import LONGEST, pytest_collection_modifyitems
from tests.waiting import ENOUGH, eventually

from stack.local import ROOT

TESTS = ROOT / "tests"
TWO = """
import pytest
@pytest.mark.long("twenty kills; tests/test_other.py::test_one_kill")
def test_twenty_kills(): pass
def test_one_kill(): pass
@pytest.mark.some(2)
@pytest.mark.parametrize("which", range(5))
def test_alike(which): print(f"case {which} asked")
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
    with bounded("the example", seconds=0.4):
        while time.monotonic() - began < 0.5:
            compute(0.02)
    with (
        pytest.raises(pytest.fail.Exception, match=r"still waiting after 0.4 s"),
        bounded("the example", seconds=0.4),
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
        env=os.environ | {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "PYTEST_ADDOPTS": ""},
        cwd=ROOT, capture_output=True, text=True, timeout=ENOUGH,
    )  # fmt: skip
    return done.stdout + done.stderr


@pytest.mark.parametrize("processes", ["0", "1"])
def test_long_tests_run_with_all_and_are_counted_without(tmp_path: Path, processes: str) -> None:
    ordinary = run(tmp_path, "-n", processes)
    assert "3 passed" in ordinary, ordinary
    told = "1 long tests and 3 others left out: --all runs them too."
    assert told in ordinary, ordinary
    everything = run(tmp_path, "-n", processes, "--all")
    assert "7 passed" in everything, everything
    assert "left out" not in everything


def test_what_proves_a_long_test_in_the_ordinary_suite_is_not_long() -> None:
    mark = SimpleNamespace(args=("minutes; tests/test_a.py::test_b",))
    long: list[Any] = [SimpleNamespace(nodeid="c", get_closest_marker=lambda name: mark)]
    assert are_proved_without(long, {"tests/test_a.py::test_b"}) == {"tests/test_a.py::test_b"}
    are_proved_without(long, {"tests/test_another.py::test_b"})  # it was not collected
    with pytest.raises(pytest.UsageError, match="c is to be proved by"):
        are_proved_without(long, {"tests/test_a.py::test_d"})


def test_some_cases_are_others_with_each_seed_and_every_one_comes() -> None:
    mark = SimpleNamespace(args=(2,), kwargs={})
    cases: list[Any] = [
        SimpleNamespace(nodeid=f"test_a[{one}]", get_closest_marker={"some": mark}.get)
        for one in range(6)
    ]
    asked = [
        {one.nodeid for one in cases} - {one.nodeid for one in beyond(cases, n)} for n in range(40)
    ]
    assert {len(one) for one in asked} == {2}
    assert set().union(*asked) == {one.nodeid for one in cases}
    assert asked[0] == {one.nodeid for one in cases} - {
        one.nodeid for one in beyond(cases[::-1], 0)
    }


def test_every_long_test_names_an_ordinary_one_of_the_same_promise() -> None:
    for file in TESTS.rglob("test_*.py"):
        if file != Path(__file__):
            for why in re.findall(r"mark\.long\((.*?)\)\n", file.read_text(), re.DOTALL):
                named = re.search(r"(tests/\S+\.py)::(test_\w+)", re.sub(r'"\s+"', "", why))
                assert named, f"{file}: {why}"
                found = (ROOT / named[1]).read_text()
                assert f"def {named[2]}(" in found, f"{file}: {named[0]}"


def test_one_in_some_of_a_files_tests_are_asked_and_those_needed_always() -> None:
    mark = SimpleNamespace(args=(3,), kwargs={})
    tests: list[Any] = [
        SimpleNamespace(nodeid=f"a.py::test_{one}[{case}]", get_closest_marker={"one_in": mark}.get)
        for one in (*range(7), "of_the_blind")
        for case in "xy"
    ]
    left = [{one.nodeid for one in beyond(tests, n, {"a.py::test_0"})} for n in range(40)]
    assert {len(one) for one in left} == {8}, "of the other six, four with their cases"
    assert set().union(*left) == {one.nodeid for one in tests[2:14]}
    assert set.intersection(*left) == set()


def test_files_of_long_tests_are_there_and_begun_first_in_their_order() -> None:
    assert [one for one in LONGEST if not (TESTS / one).is_file()] == []
    short = ["tests/docs/test_documents.py::test_b", "tests/api/test_log.py::test_a"]
    long = [f"tests/{one}::test_c" for one in LONGEST]
    items: list[Any] = [SimpleNamespace(nodeid=one) for one in [*short, *reversed(long)]]
    pytest_collection_modifyitems(items)
    assert [one.nodeid for one in items] == [*long, *short]

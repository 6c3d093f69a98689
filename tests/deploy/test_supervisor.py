"""Processes are started, watched and stopped; none outlives its supervisor."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from tests.waiting import ENOUGH, eventually

from stack.guard import group_members, read_orders
from stack.ready import file_contains
from stack.supervisor import Interrupted, ProcessFailed, Service, Supervisor, stop_leftovers

FAMILY = "sleep 60 & sleep 60 & echo up; wait"
"""A shell with two children, as a server has workers."""

OUTSIDE = """
import sys, time
from pathlib import Path
from stack.supervisor import Service, Supervisor
supervisor = Supervisor(Path(sys.argv[1]), lambda name, text: print(name, flush=True))
supervisor.start(Service("family", ["sh", "-c", sys.argv[2]]))
time.sleep(60)
"""


def up(supervisor: Supervisor, name: str, script: str, **rest: object) -> int:
    """Start a shell script that says "up"; its process id."""
    ready = file_contains(supervisor.log(name), b"up")
    supervisor.start(Service(name, ["sh", "-c", script], ready=ready, **rest))  # type: ignore[arg-type]
    return running_pids(supervisor.folder)[name]


def running_pids(folder: Path) -> dict[str, int]:
    rows = json.loads((folder / "running.json").read_text())
    return {name: pid for name, pid, *_ in rows}


def test_stops_children_and_their_children_last_started_first(
    supervisor: Supervisor, tmp_path: Path
) -> None:
    ended = tmp_path / "ended"
    script = "trap 'echo {0} >> {1}; exit' TERM; echo up; while :; do sleep 0.05; done"
    pids = [up(supervisor, name, script.format(name, ended)) for name in ("first", "second")]
    pids.append(up(supervisor, "third", FAMILY))
    assert len(group_members(pids[2])) == 3

    supervisor.stop()

    assert [group_members(pid) for pid in pids] == [[], [], []]
    assert ended.read_text().split() == ["second", "first"]


def test_kills_what_ignores_the_signal(supervisor: Supervisor, said: list[str]) -> None:
    pid = up(supervisor, "stubborn", "trap '' TERM; echo up; sleep 60 & wait; sleep 60", grace=0.3)

    supervisor.stop()

    assert group_members(pid) == []
    assert said[-1] == "stubborn: did not stop when asked, so it was killed"


def test_says_which_process_died_and_its_last_words(supervisor: Supervisor) -> None:
    up(supervisor, "steady", FAMILY)
    up(supervisor, "shaky", "echo up; sleep 0.2; echo out of ideas; exit 7")

    with pytest.raises(ProcessFailed, match=r"^shaky ended with status 7\n") as caught:
        supervisor.serve()

    assert caught.value.lines == ["up", "out of ideas"]


def test_a_process_that_dies_while_starting_is_not_waited_for(supervisor: Supervisor) -> None:
    service = Service("web", ["sh", "-c", "exit 3"], ready=lambda: False, timeout=ENOUGH)
    with pytest.raises(ProcessFailed, match=r"^web ended with status 3$"):
        supervisor.start(service)


def test_a_process_that_is_never_ready_is_given_up(supervisor: Supervisor) -> None:
    service = Service("slow", ["sleep", "60"], ready=lambda: False, timeout=0.2)
    with pytest.raises(ProcessFailed, match="slow was not ready"):
        supervisor.start(service)


def test_a_command_passes_its_status_on(supervisor: Supervisor) -> None:
    supervisor.run(Service("fine", ["true"]))
    with pytest.raises(ProcessFailed) as caught:
        supervisor.run(Service("stories", ["sh", "-c", "exit 4"]))
    assert caught.value.status == 4


def test_a_signal_interrupts_the_watch(supervisor: Supervisor) -> None:
    before = {
        each: signal.getsignal(each) for each in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    }
    supervisor.listen()
    try:
        os.kill(os.getpid(), signal.SIGTERM)
        with pytest.raises(Interrupted) as caught:
            supervisor.serve()
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    assert caught.value.number == signal.SIGTERM


def test_one_service_can_crash_and_come_back(supervisor: Supervisor) -> None:
    first = up(supervisor, "worker", FAMILY)
    supervisor.kill("worker")
    assert group_members(first) == []

    second = up(supervisor, "worker", FAMILY)

    supervisor.look()
    # The log still says "up" of the first, so the second may not have got so far.
    eventually(lambda: len(group_members(second)) == 3, "its two children")


@pytest.fixture
def outside(tmp_path: Path) -> subprocess.Popen[str]:
    """A supervisor in a process of its own, with a family started."""
    process = subprocess.Popen(
        [sys.executable, "-c", OUTSIDE, str(tmp_path), FAMILY],
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "deploy")},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    with process.stdout as lines:
        assert lines.readline() == "family\n"
    return process


def test_a_killed_supervisor_leaves_nothing_running(
    tmp_path: Path, outside: subprocess.Popen[str]
) -> None:
    family = running_pids(tmp_path)["family"]
    outside.kill()
    outside.wait()
    eventually(lambda: group_members(family) == [], "the family to be stopped")


def test_what_even_the_guard_could_not_stop_is_stopped_at_the_next_start(
    tmp_path: Path, outside: subprocess.Popen[str]
) -> None:
    family = running_pids(tmp_path)["family"]
    os.kill(guard_of(outside.pid), signal.SIGKILL)
    outside.kill()
    outside.wait()
    assert group_members(family) != []

    assert stop_leftovers(tmp_path) == ["family"]

    assert group_members(family) == []
    assert stop_leftovers(tmp_path) == []


def guard_of(supervisor: int) -> int:
    import psutil

    children = psutil.Process(supervisor).children()
    return next(child.pid for child in children if "stack.guard" in child.cmdline())


def test_a_process_id_used_again_is_not_taken_for_a_leftover(tmp_path: Path) -> None:
    record = [["web", os.getpid(), 1.0, int(signal.SIGTERM)]]
    (tmp_path / "running.json").write_text(json.dumps(record))
    assert stop_leftovers(tmp_path) == []


def test_the_guard_forgets_what_ended() -> None:
    orders = ["start 10 15 2.0\n", "start 11 2 3.5\n", "end 10\n"]
    assert read_orders(orders) == {11: (2, 3.5)}

"""Stops what a killed supervisor left running.

``python -m stack.guard`` reads its orders from standard input, one a line:
``start PID SIGNAL SECONDS`` for each process group started, ``end PID`` for each that ended.
The input also ends when the writer is killed, so the groups still listed then are stopped,
the last started first.
"""

import os
import signal
import sys
import time
from collections.abc import Callable, Iterable

import psutil

PAUSE = 0.05
"""Seconds between two looks at a process group."""

LAST_GASP = 10.0
"""Seconds a killed process may take to end: it can be deep in a disk write."""


def group_members(group: int) -> list[int]:
    """The ids of the living processes in a group; the dead waiting to be collected don't count."""
    found = []
    for process in psutil.process_iter(["pid", "status"]):
        if process.info["status"] == psutil.STATUS_ZOMBIE:
            continue
        try:
            if os.getpgid(process.info["pid"]) == group:
                found.append(process.info["pid"])
        except (ProcessLookupError, PermissionError):
            continue
    return found


def stop_group(
    leader: int, first: int, grace: float, hurry: Callable[[], bool] = lambda: False
) -> bool:
    """Ask a group to stop, wait at most `grace` seconds, then kill what is left of it.

    The first signal goes to the leader alone: servers that fork pass it on in their own order.
    What outlives the leader gets SIGTERM. `hurry` is asked while waiting and ends the wait when
    true. Returns whether all went by themselves.
    """
    send(os.kill, leader, first)
    deadline = time.monotonic() + grace
    orphans_signalled = False
    while members := group_members(leader):
        if time.monotonic() >= deadline or hurry():
            kill_group(leader)
            return False
        if leader not in members and not orphans_signalled:
            orphans_signalled = send(os.killpg, leader, signal.SIGTERM)
        time.sleep(PAUSE)
    return True


def kill_group(leader: int) -> None:
    """Kill a group at once, and wait until the kernel has ended it."""
    send(os.killpg, leader, signal.SIGKILL)
    deadline = time.monotonic() + LAST_GASP
    while group_members(leader) and time.monotonic() < deadline:
        time.sleep(PAUSE)


def send(how: Callable[[int, int], None], target: int, number: int) -> bool:
    """Send a signal to a process or group. Returns whether there was anyone to receive it."""
    try:
        how(target, number)
    except ProcessLookupError:
        return False
    return True


def read_orders(lines: Iterable[str]) -> dict[int, tuple[int, float]]:
    """The groups still running when the orders end: leader → first signal, grace in seconds."""
    running: dict[int, tuple[int, float]] = {}
    for line in lines:
        order, leader, *rest = line.split()
        if order == "start":
            running[int(leader)] = int(rest[0]), float(rest[1])
        else:
            running.pop(int(leader), None)
    return running


def main() -> None:
    running = read_orders(sys.stdin)
    for leader, (first, grace) in reversed(running.items()):
        stop_group(leader, first, grace)


if __name__ == "__main__":
    main()

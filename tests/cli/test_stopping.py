"""Ctrl-C, wherever it comes: the command ends with 130 and says what is stored. And how far a long
step has come."""

import contextlib
import io
import signal
import subprocess
import sys
from collections.abc import Callable

import pytest
from tests.cli.meddler import Answer, Meddler, meddling
from tests.cli.rooms import Room, new_animal
from tests.cli.test_following import interrupts
from tests.waiting import ENOUGH, eventually, killed_at_the_end

from scalewitness_cli.commands import progress
from scalewitness_cli.commands.common import INTERRUPTED


def interrupted(process: "subprocess.Popen[bytes]") -> bool:
    process.send_signal(signal.SIGINT)
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(timeout=10)
    return process.poll() is not None


def test_at_a_question(room: Room) -> None:
    machine = room.at_work("hal")
    new_animal(machine, "S1")
    machine.sync()
    machine.well("weigh", "S1", "300")
    with interrupts(signal.SIG_DFL):
        process = subprocess.Popen(
            [*machine.command, "check", "S1"], cwd=machine.home, env=machine.env,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
    with killed_at_the_end(process):
        assert process.stderr is not None
        read = b""
        while b"Run 1 on the left" not in read:
            read += process.stderr.read(1)
        # Between its question and its waiting for the answer it hears no signal: one presses again.
        eventually(lambda: interrupted(process), "its end")
        assert process.returncode == INTERRUPTED
        told = process.stderr.read().decode()
    assert "Everything you recorded is stored here." in told
    assert "1 item waits to be sent to" in told
    assert len(machine.well("unsent")) == 1


def test_in_the_middle_of_a_sync(room: Room) -> None:
    with meddling(room.stack.url) as meddler:
        machine = room.at_work("ivo", meddler.url)
        new_animal(machine, "S2")
        machine.sync()
        machine.check("S2")

        def interrupt(_: Meddler, ask: Callable[[], Answer]) -> Answer:
            process.send_signal(signal.SIGINT)
            return ask()

        meddler.play("/push", interrupt)
        with interrupts(signal.SIG_DFL):
            process = subprocess.Popen(
                [*machine.command, "sync"], cwd=machine.home, env=machine.env,
                stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            )  # fmt: skip
        with killed_at_the_end(process):
            _, told = process.communicate(timeout=ENOUGH)
    assert process.returncode == INTERRUPTED
    assert b"Nothing waits to be sent to" in told, "the answer was stored first"
    assert machine.well("unsent") == []


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_what_takes_long_says_how_far_it_has_come(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    for screen, shown in ((Terminal(), True), (io.StringIO(), False)):
        monkeypatch.setattr(sys, "stderr", screen)
        for one in progress.counted(range(1500), "lines signed"):
            now[0] += 0.002
            assert bool(screen.getvalue()) == (shown and one >= 1000), one
        assert ("lines signed 1,405 …" in screen.getvalue()) == shown
        assert screen.getvalue().endswith("\r\033[K") == shown, "the line is taken away"

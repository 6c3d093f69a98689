"""``sync --follow``: what happens at the server is here at once, and what is said here goes."""

import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from queue import Empty, Queue
from threading import Thread
from typing import Any

import pytest
from tests.cli.rooms import Machine, Room, new_animal

from scalewitness_cli.commands.common import FINE


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    machine = room.at_work("odile")
    machine.sync()
    return machine


@contextmanager
def following(machine: Machine) -> Iterator["Queue[dict[str, Any]]"]:
    """What it says, line by line; ended by Ctrl-C it ends well."""
    command = [sys.executable, "-m", "scalewitness_cli", "sync", "--follow", "--json"]
    with subprocess.Popen(
        command, cwd=machine.home, env=machine.env, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        said: Queue[dict[str, Any]] = Queue()
        out = process.stdout
        assert out is not None
        reader = Thread(target=lambda: [said.put(json.loads(one)) for one in out], daemon=True)
        reader.start()
        try:
            yield said
        finally:
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=30) == FINE
            assert process.stderr is not None
            assert "Traceback" not in process.stderr.read()


def test_a_change_at_the_server_comes_at_once(odile: Machine) -> None:
    with following(odile) as said:
        said.get(timeout=30)
        began = time.monotonic()
        animal = new_animal(odile, "F-1")
        pulled = said.get(timeout=30)
        assert pulled["pulled"] > 0
        assert time.monotonic() - began < 10, "it does not come by the clock"
        while True:
            try:
                said.get(timeout=2)
            except Empty:
                break
        assert odile.well("show", "F-1")["id"] == animal, "others may look and sync meanwhile"


def test_what_is_said_here_goes_and_nothing_is_told_while_nothing_happens(odile: Machine) -> None:
    animal = new_animal(odile, "F-2")
    odile.sync()
    with following(odile) as said:
        said.get(timeout=30)
        with pytest.raises(Empty):
            said.get(timeout=7)
        odile.check("F-2")
        sent = said.get(timeout=30)
        assert (sent["sent"], sent["receipts"]) == (1, 1)
        assert len(odile.api.get(f"animals/{animal}/calls").json()["items"]) == 1
        assert odile.sync()["sent"] == 0

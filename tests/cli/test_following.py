"""``sync --follow``: what happens at the server is here at once, and what is said here goes."""

import json
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from queue import Empty, Queue
from threading import Thread
from typing import Any

import pytest
from tests.cli.meddler import Meddler, meddling, saying
from tests.cli.rooms import Machine, Room, new_animal

from scalewitness_cli.commands.common import FINE, NEEDS_YOU
from scalewitness_cli.commands.syncing import PAUSE
from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    machine = room.at_work("odile")
    machine.sync()
    return machine


@contextmanager
def following(machine: Machine, ends: int = FINE) -> Iterator["Queue[dict[str, Any]]"]:
    """What it says, line by line; ended by Ctrl-C it ends so."""
    command = [*machine.command, "sync", "--follow", "--json"]
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
            assert process.wait(timeout=30) == ends
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


@pytest.fixture(scope="module")
def crowded(room: Room) -> Iterator[Meddler]:
    """The same record behind a server whose places to wait in are all taken."""
    folder = room.folder / "crowded"
    with Supervisor(folder, say=lambda name, text: None) as supervisor:
        full = LocalStack(supervisor, folder, free_port(), room.stack.environment)
        own = ("PUBLIC_URL", "SCALEWITNESS_RUN_DIR")
        theirs = {name: text for name, text in room.stack.environment.items() if name not in own}
        full.environment |= theirs | {"FEED_WAITERS": "0"}
        full.start_web()
        with meddling(full.url) as made:
            yield made


def test_a_server_without_a_place_to_wait_in_is_asked_every_few_seconds(
    room: Room, crowded: Meddler
) -> None:
    keeper = room.at_work("keeper", crowded.url)
    animal = new_animal(keeper, "F-3")
    with following(keeper) as said:
        said.get(timeout=60)
        keeper.sync()
        crowded.asked.clear()
        time.sleep(4 * PAUSE)
        asked = crowded.asked.count("/api/v1/changes")
        assert 1 <= asked <= 5, f"{asked} in {4 * PAUSE} s"
        keeper.check("F-3")
        assert said.get(timeout=30)["sent"] == 1, "what is said here does not wait for that"
    assert len(keeper.api.get(f"animals/{animal}/calls").json()["items"]) == 1


def test_a_server_that_takes_nothing_is_read_and_hardly_sent_to(
    room: Room, crowded: Meddler
) -> None:
    keeper = room.at_work("keeper", crowded.url)
    animal = new_animal(keeper, "F-4")
    keeper.sync()
    (id,) = keeper.check("F-4")["stored"]
    crowded.play("/push", *[saying(403, "address_unconfirmed")] * 50)
    with following(keeper, NEEDS_YOU) as said:
        assert said.get(timeout=60)["unsent_code"] == "address_unconfirmed"
        crowded.asked.clear()
        new_animal(keeper, "F-5")
        while not said.get(timeout=60)["pulled"]:
            pass
        time.sleep(2 * PAUSE)
        assert crowded.asked.count("/api/v1/push") <= 1
    crowded.tricks.clear()
    assert keeper.sync()["sent"] == 1
    calls = keeper.api.get(f"animals/{animal}/calls").json()["items"]
    assert [one["id"] for one in calls] == [id]

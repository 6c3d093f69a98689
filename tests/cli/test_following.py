"""``sync --follow``: what happens at the server is here at once, and what is said here goes."""

import json
import signal
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from queue import Empty, Queue
from threading import Thread
from typing import IO, Any

import pytest
from tests.cli.meddler import Answer, Meddler, meddling, saying
from tests.cli.rooms import Machine, Room, new_animal
from tests.waiting import ENOUGH, eventually, killed_at_the_end

from scalewitness_cli.commands.common import FINE, NEEDS_YOU
from scalewitness_cli.commands.syncing import PAUSE, WAIT
from scalewitness_cli.remote import Api
from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor

pytestmark = pytest.mark.one_in(5)

FAST = 5.0
"""How much sooner than told the command asks again, where the tests wait for that."""


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    machine = room.at_work("odile")
    machine.sync()
    return machine


@contextmanager
def interrupts(what: signal.Handlers) -> Iterator[None]:
    """What a child started now does at SIGINT, whatever this process was started with: by a
    script in its background, a suite ignores it and everything that it starts does."""
    before = signal.signal(
        signal.SIGINT, signal.default_int_handler if what is signal.SIG_DFL else what
    )
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class Said:
    """What it says, line by line."""

    def __init__(self, process: "subprocess.Popen[str]", out: IO[str]) -> None:
        self.process = process
        self._lines: Queue[dict[str, Any]] = Queue()
        Thread(target=self._read, args=(out,), daemon=True).start()

    def _read(self, out: IO[str]) -> None:
        for one in out:
            self._lines.put(json.loads(one))

    def get(self, timeout: float = ENOUGH) -> dict[str, Any]:
        try:
            return self._lines.get(timeout=timeout)
        except Empty:
            pytest.fail(f"it said nothing within {timeout:g} s")

    def is_silent(self, seconds: float) -> bool:
        try:
            self._lines.get(timeout=seconds)
        except Empty:
            return True
        return False


@contextmanager
def following(
    machine: Machine,
    ends: int = FINE,
    by: signal.Signals = signal.SIGINT,
    at_interrupts: signal.Handlers = signal.SIG_DFL,
) -> Iterator[Said]:
    """What it says; ended by a signal it ends so."""
    command = [*machine.command, "sync", "--follow", "--json"]
    with interrupts(at_interrupts):
        process = subprocess.Popen(
            command, cwd=machine.home, env=machine.env, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
    with killed_at_the_end(process):
        assert process.stdout is not None
        assert process.stderr is not None
        yield Said(process, process.stdout)
        process.send_signal(by)
        assert process.wait(timeout=ENOUGH) == ends
        assert "Traceback" not in process.stderr.read()


@pytest.mark.parametrize(
    ("by", "at_interrupts"),
    [(signal.SIGINT, signal.SIG_DFL), (signal.SIGTERM, signal.SIG_DFL),
     (signal.SIGTERM, signal.SIG_IGN)],
    ids=["Ctrl-C", "SIGTERM", "SIGTERM in the background of a script"],
)  # fmt: skip
@pytest.mark.some(1)
def test_it_ends_well_when_told_to(
    odile: Machine, by: signal.Signals, at_interrupts: signal.Handlers
) -> None:
    with following(odile, FINE, by, at_interrupts) as said:
        said.get()


@pytest.fixture(scope="module")
def behind(room: Room) -> Iterator[tuple[Machine, Meddler]]:
    """A keeper of an animal `F-0`, and what stands between them and the server."""
    with meddling(room.stack.url) as meddler:
        keeper = room.at_work("keeper", meddler.url)
        new_animal(keeper, "F-0")
        keeper.sync()
        yield keeper, meddler


def test_what_is_under_way_is_finished_first(behind: tuple[Machine, Meddler]) -> None:
    keeper, meddler = behind

    def interrupt(_: Meddler, ask: Callable[[], Answer]) -> Answer:
        said.process.send_signal(signal.SIGINT)
        return ask()

    with following(keeper) as said:
        said.get()
        meddler.play("/push", interrupt)
        keeper.check("F-0")
        said.process.wait(timeout=ENOUGH)
    assert keeper.well("unsent") == [], "it is known that the server has it"


@pytest.mark.long(
    "the command ends before its server answers; "
    "tests/cli/test_following.py::test_what_is_under_way_is_finished_first"
)
def test_who_asks_twice_does_not_wait_for_the_answer(behind: tuple[Machine, Meddler]) -> None:
    keeper, meddler = behind

    def interrupt(_: Meddler, ask: Callable[[], Answer]) -> None:
        said.process.send_signal(signal.SIGINT)
        said.process.send_signal(signal.SIGTERM)  # of two SIGINTs it might see one
        said.process.wait(timeout=ENOUGH)

    with following(keeper) as said:
        said.get()
        meddler.play("/push", interrupt)
        (stored,) = keeper.check("F-0")["stored"]
        said.process.wait(timeout=ENOUGH)
    assert [one["id"] for one in keeper.well("unsent")] == [stored]
    assert keeper.sync()["sent"] == 1


def test_an_answer_that_the_server_keeps_back_is_not_waited_for(
    behind: tuple[Machine, Meddler],
) -> None:
    keeper, meddler = behind

    def interrupt(_: Meddler, ask: Callable[[], Answer]) -> None:
        said.process.send_signal(signal.SIGINT)
        said.process.wait(timeout=ENOUGH)

    meddler.play("/changes", lambda _, ask: ask(), interrupt)
    with following(keeper) as said:
        said.process.wait(timeout=ENOUGH)


def test_it_waits_from_when_the_question_is_asked(
    room: Room, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And not while it connects: nobody would close what was begun."""
    connect, seen = socket.create_connection, list[object]()

    def connecting(*given: Any, **more: Any) -> socket.socket:
        made = connect(*given, **more)
        seen.append("connected")
        return made

    monkeypatch.setattr(socket, "create_connection", connecting)
    with Api(room.stack.url) as api:
        api.kept_back("log/checkpoint", seen.append)
    assert seen == ["connected", True, False]


def test_a_change_at_the_server_comes_at_once(odile: Machine) -> None:
    with following(odile) as said:
        said.get()
        animal = new_animal(odile, "F-1")
        pulled = said.get()
        assert pulled["pulled"] > 0
        eventually(lambda: said.is_silent(2), "it to have told everything")
        assert odile.well("show", "F-1")["id"] == animal, "others may look and sync meanwhile"


def test_what_is_said_here_goes_and_nothing_is_told_while_nothing_happens(odile: Machine) -> None:
    animal = new_animal(odile, "F-2")
    odile.sync()
    with following(odile) as said:
        said.get()
        assert said.is_silent(WAIT + 1)
        odile.check("F-2")
        sent = said.get()
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


@pytest.mark.long(
    "watched for some seconds; "
    "tests/cli/test_following.py::test_a_change_at_the_server_comes_at_once"
)
def test_a_server_without_a_place_to_wait_in_is_asked_every_few_seconds(
    room: Room, crowded: Meddler
) -> None:
    keeper = room.at_work("keeper", crowded.url)
    keeper.fast = FAST
    animal = new_animal(keeper, "F-3")
    with following(keeper) as said:
        said.get()
        keeper.sync()
        crowded.asked.clear()
        said.is_silent(2 * PAUSE / FAST)
        asked = crowded.asked.count("/api/v1/changes")
        assert asked <= 4, f"{asked} in {2 * PAUSE} s"
        eventually(lambda: "/api/v1/changes" in crowded.asked, "it to ask again")
        keeper.check("F-3")
        assert said.get()["sent"] == 1, "what is said here does not wait for that"
    assert len(keeper.api.get(f"animals/{animal}/calls").json()["items"]) == 1


@pytest.mark.long(
    "watched for some seconds; "
    "tests/cli/test_following.py::test_a_change_at_the_server_comes_at_once"
)
def test_a_server_that_takes_nothing_is_read_and_hardly_sent_to(
    room: Room, crowded: Meddler
) -> None:
    keeper = room.at_work("keeper", crowded.url)
    keeper.fast = FAST
    animal = new_animal(keeper, "F-4")
    keeper.sync()
    (id,) = keeper.check("F-4")["stored"]
    crowded.play("/push", *[saying(403, "address_unconfirmed")] * 50)
    with following(keeper, NEEDS_YOU) as said:
        assert said.get()["unsent_code"] == "address_unconfirmed"
        crowded.asked.clear()
        new_animal(keeper, "F-5")
        while not said.get()["pulled"]:
            pass
        said.is_silent(2 * PAUSE / FAST)
        assert crowded.asked.count("/api/v1/push") <= 1
    crowded.tricks.clear()
    assert keeper.sync()["sent"] == 1
    calls = keeper.api.get(f"animals/{animal}/calls").json()["items"]
    assert [one["id"] for one in calls] == [id]

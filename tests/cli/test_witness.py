"""``scalewitness witness`` and what belongs to it, each run a process of its own."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from threading import Event
from typing import Any

import pytest
from tests.cli.fakelog import SIGNER, FakeLog, Served, over_http
from tests.cli.test_key_change import NEW, after, given_over
from tests.cli.test_verify import environment
from tests.waiting import ENOUGH, eventually, killed_at_the_end

from scalewitness.domain.translog.keys import KeyType, Signer, read_verifier
from scalewitness.domain.translog.notes import open_note, read_line, read_note

pytestmark = pytest.mark.one_in(5)

KEY = str(SIGNER.verifier)
OTHER = Signer("other.example/log", KeyType.ED25519, bytes(32))


class Machine:
    """A home folder with the command in it."""

    def __init__(self, home: Path, served: Served) -> None:
        self.home, self.served = home, served
        self.env = environment() | {"HOME": str(home), "SCALEWITNESS_TOKEN": "token"}
        self.trust(KEY)

    def trust(self, *keys: str) -> None:
        file = self.home / ".config" / "scalewitness" / "keys"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text("\n".join(keys))

    def start(self, *arguments: str) -> "subprocess.Popen[str]":
        return subprocess.Popen(
            [sys.executable, "-m", "scalewitness_cli", *arguments], cwd=self.home, env=self.env,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def run(self, *arguments: str) -> tuple[int, str]:
        process = self.start(*arguments)
        with killed_at_the_end(process):
            out, err = process.communicate(timeout=ENOUGH)
        assert "Traceback" not in err
        return process.returncode, out + err

    def look(self, *arguments: str) -> tuple[int, dict[str, Any]]:
        status, text = self.run("witness", self.served.url, "--json", *arguments)
        return status, json.loads(text)


@pytest.fixture
def machine(tmp_path: Path) -> Iterator[Machine]:
    with over_http(Served(FakeLog(5))) as served:
        yield Machine(tmp_path, served)


def test_it_looks_cosigns_and_says_so(machine: Machine) -> None:
    status, first = machine.look()
    assert (status, first["outcome"], first["size"], first["before"]) == (0, "first", 5, None)
    machine.served.log = FakeLog(300)
    status, text = machine.run("witness", machine.served.url)
    assert (status, "It continues what it vouched for at 5 entries" in text) == (0, True)
    assert "The log has this machine's cosignature" in text
    sent = machine.served.taken
    assert [one["size"] for one in sent] == [5, 300]
    note = machine.served.log.note().with_lines([read_line(sent[1]["cosignature"])])
    assert len(open_note(note, [SIGNER.verifier, read_verifier(sent[1]["key"])]).verified) == 2
    assert machine.look()[0] == 0
    assert len(machine.served.taken) == 2


def test_it_writes_a_line_made_anew_and_sends_nothing(machine: Machine, tmp_path: Path) -> None:
    machine.look()
    (sent,) = machine.served.taken
    status, found = machine.look("--write", str(tmp_path / "anew"))
    assert (status, found["size"], machine.served.taken) == (0, 5, [sent])
    note = read_note((tmp_path / "anew").read_bytes())
    keys = [SIGNER.verifier, read_verifier(sent["key"])]
    assert {one.name for one in open_note(note, keys).verified} == {key.name for key in keys}
    machine.served.log = FakeLog(4)
    (tmp_path / "anew").unlink()
    assert machine.look("--write", str(tmp_path / "anew"))[0] == 1
    assert not (tmp_path / "anew").exists()


@pytest.mark.one_in(1)
def test_an_alarm_cannot_be_clicked_away(machine: Machine) -> None:
    machine.look()
    machine.served.log = FakeLog(6, "false")
    status, found = machine.look()
    assert (status, found["outcome"], found["kind"], found["proves"]) == (
        1, "alarm", "rewritten", True,
    )  # fmt: skip
    machine.served.log = FakeLog(6)
    assert machine.look() == (1, found)
    assert len(machine.served.taken) == 1
    status, text = machine.run("alarms")
    assert (status, f"ALARM {found['alarm']}" in text) == (1, True)
    for wrong in ([], ["00000000", "--because", "x"], [found["alarm"]]):
        assert machine.run("acknowledge", *wrong)[0] == 2
        assert machine.look()[0] == 1
    assert machine.run("acknowledge", found["alarm"], "--because", "asked the operator")[0] == 0
    assert machine.look()[0] == 0
    assert machine.run("alarms") == (0, "")


def test_the_evidence_convinces_somebody_else(machine: Machine, tmp_path: Path) -> None:
    machine.look()
    machine.served.log = FakeLog(5, "false")
    _, found = machine.look()
    file = Path(found["evidence"])
    machine.trust()
    assert machine.run("evidence", str(file))[0] == 2
    status, text = machine.run("evidence", str(file), "--key", KEY)
    assert (status, "PROVES" in text) == (1, True)
    whole = json.loads(file.read_text())
    file.write_text(json.dumps(whole | {"shown": str(FakeLog(5).note())}))
    assert machine.run("evidence", str(file), "--key", KEY)[0] == 0
    file.write_text("{}")
    assert machine.run("evidence", str(file), "--key", KEY)[0] == 2


def test_a_change_of_key_is_followed_and_told_once(machine: Machine) -> None:
    machine.look()
    machine.served.log = after(9, given_over(6))
    status, found = machine.look()
    (told,) = found["key_changes"]
    assert (status, str(NEW.verifier) in told) == (0, True)
    assert len(machine.served.taken) == 2
    assert machine.look()[1]["key_changes"] == []
    machine.served.log = FakeLog(9)  # by the old key
    status, found = machine.look()
    assert (status, found["kind"], found["proves"]) == (1, "old_key", True)
    assert machine.run("evidence", found["evidence"], "--key", KEY)[0] == 1


def test_another_clients_checkpoint_is_compared(machine: Machine) -> None:
    theirs = machine.home / "theirs"
    theirs.write_text(str(FakeLog(4, "false").note()))
    assert machine.look("--also", str(theirs))[0] == 1
    theirs.write_text("nothing of the kind")
    assert machine.run("witness", machine.served.url, "--also", str(theirs))[0] == 2


def test_killed_between_keeping_and_sending_it_sends_later(machine: Machine) -> None:
    asked, go_on = Event(), Event()

    def wait() -> None:
        asked.set()
        go_on.wait(ENOUGH)

    machine.served.wait = wait
    process = machine.start("witness", machine.served.url)
    assert asked.wait(ENOUGH)
    process.kill()
    process.communicate()
    machine.served.wait = lambda: None
    go_on.set()
    (kept,) = (machine.home / ".local/state/scalewitness/logs").glob("*/checkpoint")
    assert read_note(kept.read_bytes()) == FakeLog(5).note()
    eventually(lambda: machine.served.taken, "what the killed one had sent")
    before = len(machine.served.taken)
    assert machine.look()[1]["before"] == 5
    assert [one["size"] for one in machine.served.taken[before:]] == [5]


@pytest.mark.parametrize("status", [403, 422])
def test_a_refused_cosignature_is_said_and_tried_again(machine: Machine, status: int) -> None:
    machine.served.status = status
    ended, found = machine.look()
    assert (ended, found["sent"], "by the server" in found["not_sent"]) == (3, False, True)
    machine.served.status = 200
    assert machine.look()[0] == 0
    assert len(machine.served.taken) == 2


def test_without_a_token_it_watches_all_the_same(machine: Machine) -> None:
    del machine.env["SCALEWITNESS_TOKEN"]
    status, found = machine.look()
    assert (status, found["sent"], machine.served.taken) == (0, None, [])
    file = machine.home / "token"
    file.write_text("token\n")
    assert machine.look("--token-file", str(file))[1]["sent"] is True


def test_no_key_no_trust(machine: Machine) -> None:
    machine.trust()
    status, text = machine.run("witness", machine.served.url)
    assert (status, "would prove nothing" in " ".join(text.split())) == (2, True)
    assert machine.look("--key", KEY)[0] == 0
    machine.trust(KEY, str(OTHER.verifier))
    assert machine.run("witness", machine.served.url)[0] == 2
    assert machine.look("--log", SIGNER.name)[0] == 0
    assert machine.run("witness", machine.served.url, "--log", "third.example")[0] == 2


def test_nobody_there(machine: Machine) -> None:
    status, text = machine.run("witness", "http://127.0.0.1:1", "--json")
    assert (status, json.loads(text)["outcome"]) == (3, "unreachable")
    assert os.listdir(machine.home / ".local/state/scalewitness/logs")  # noqa: PTH208

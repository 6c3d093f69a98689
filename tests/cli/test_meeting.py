"""Somebody's file carries a checkpoint on: a split view is noticed where it meets one who was shown
the other half."""

from pathlib import Path

import pytest
from tests.cli.fakelog import SIGNER, FakeLog, Served, over_http
from tests.cli.test_verify import LOG, Machine, receipt

from scalewitness.domain.translog.notes import Note
from scalewitness_cli.alarms import Alarm, proves_fault
from scalewitness_cli.meeting import LATER, NEVER, SAME, meet
from scalewitness_cli.memory import MOST_MET, Memory
from scalewitness_cli.witness import Seen, look

KEYS = [SIGNER.verifier]
NOW = 1_790_000_000


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, SIGNER.name)


def met(memory: Memory, note: Note) -> Alarm | str:
    return meet(memory, note, KEYS, "a.receipt", NOW)


def test_who_never_looked_cannot_tell(memory: Memory) -> None:
    assert met(memory, FakeLog(5).note()) == NEVER
    assert not memory.folder.exists()


def test_the_other_half_of_the_same_size_is_proof_at_once(memory: Memory) -> None:
    for size in (5, 9):
        look(memory, FakeLog(size), KEYS, NOW)
    assert met(memory, FakeLog(5).note()) == SAME
    alarm = met(memory, FakeLog(5, "told to the buyer", since=3).note())
    assert isinstance(alarm, Alarm)
    assert (alarm.kind, alarm.address) == ("other_root", "a.receipt")
    assert proves_fault(alarm, KEYS)
    assert memory.alarms() == [alarm]


@pytest.mark.parametrize("size", [4, 7, 12])
def test_the_other_half_of_another_size_is_noticed_at_the_next_look(
    memory: Memory, size: int
) -> None:
    look(memory, FakeLog(5), KEYS, NOW)
    assert met(memory, FakeLog(size, "told to the buyer", since=3).note()) == LATER
    alarm = look(memory, FakeLog(9), KEYS, NOW)
    assert isinstance(alarm, Alarm)
    assert alarm.kind == ("smaller" if size > 9 else "rewritten")


def test_what_fits_is_compared_once(memory: Memory) -> None:
    look(memory, FakeLog(5), KEYS, NOW)
    assert met(memory, FakeLog(7).note()) == LATER
    assert [note.text for note in memory.met()] == [FakeLog(7).note().text]
    assert isinstance(look(memory, FakeLog(9), KEYS, NOW), Seen)
    assert memory.met() == []


def test_what_the_log_did_not_sign_is_not_kept(memory: Memory) -> None:
    look(memory, FakeLog(5), KEYS, NOW)
    assert met(memory, FakeLog(7).note(LOG.__class__(LOG.name, LOG.type, bytes(32)))) == ""
    assert memory.met() == []


def test_a_heap_of_files_does_not_push_out_the_first(memory: Memory) -> None:
    look(memory, FakeLog(5), KEYS, NOW)
    first = FakeLog(6, "told to the buyer", since=3).note()
    met(memory, first)
    for size in range(7, 7 + MOST_MET):
        met(memory, FakeLog(size).note())
    assert len(memory.met()) == MOST_MET
    assert isinstance(look(memory, FakeLog(300), KEYS, NOW), Alarm)


# --- the command


def test_a_receipt_is_held_to_the_log_that_is_asked(tmp_path: Path) -> None:
    machine = Machine(tmp_path)
    machine.trust(str(LOG.verifier))
    (tmp_path / "a.receipt").write_bytes(receipt())
    done = machine.run("a.receipt")
    assert (done.returncode, NEVER in done.stdout) == (0, True)
    with over_http(Served(FakeLog(9))) as served:  # of other entries than the receipt's
        done = machine.run("a.receipt", "--ask", served.url)
    assert done.returncode == 1
    assert "ALARM" in done.stdout
    done = machine.run("a.receipt", "--ask", "http://127.0.0.1:1")
    assert done.returncode == 1  # the alarm stands, before anything is asked

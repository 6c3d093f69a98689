"""A log that changes its key, followed by whoever watches it; and impostors, who are not."""

from pathlib import Path

import msgspec
import pytest
from tests.cli.fakelog import SIGNER, FakeLog
from tests.domain.translog.reference import root_of

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.key_changes import changed
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import Note
from scalewitness_cli.alarms import Alarm, proves_fault
from scalewitness_cli.memory import Memory
from scalewitness_cli.witness import Seen, look

KEYS = [SIGNER.verifier]
NEW, THIEF = (Signer(SIGNER.name, KeyType.ED25519, bytes([n] * 32)) for n in (8, 9))
NOW = 1_790_000_000


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, SIGNER.name)


def given_over(size: int, old: Signer = SIGNER, new: Signer = NEW, story: str = "true") -> Note:
    leaves = FakeLog(size, story).leaves
    return changed(Checkpoint(SIGNER.name, size, root_of(leaves)), old, new)


def after(size: int, *changes: Note, by: Signer = NEW, story: str = "true") -> FakeLog:
    """The log as it is some time after the changes."""
    log = FakeLog(size, story, since=5)
    log.shown, log.changes = log.note(by), list(changes)
    return log


def showing(note: Note, size: int) -> FakeLog:
    log = FakeLog(size)
    log.shown = note
    return log


def seen(memory: Memory, log: FakeLog) -> Seen:
    found = look(memory, log, KEYS, NOW)
    assert isinstance(found, Seen), found
    return found


def alarmed(memory: Memory, log: FakeLog) -> Alarm:
    found = look(memory, log, KEYS, NOW)
    assert isinstance(found, Alarm), found
    kept = msgspec.json.decode(memory.file_of(found).read_bytes(), type=Alarm)
    assert kept == found
    return found


def test_who_looks_while_it_changes_follows(memory: Memory) -> None:
    seen(memory, FakeLog(5))
    (change,) = seen(memory, showing(given_over(6), 6)).changes
    assert (change.new, change.head.size) == (NEW.verifier, 6)
    assert seen(memory, after(9)).changes == ()
    assert memory.keys(KEYS) == [SIGNER.verifier, NEW.verifier]
    assert memory.alarms() == []


def test_who_was_away_asks_the_log_how_it_came_by_its_key(memory: Memory) -> None:
    seen(memory, FakeLog(5))
    last = given_over(8, NEW, THIEF)  # no thief here, but the key after the next
    found = seen(memory, after(12, given_over(6), last, by=THIEF))
    assert [one.new for one in found.changes] == [NEW.verifier, THIEF.verifier]
    again = Memory(memory.folder.parents[1], SIGNER.name)
    assert seen(again, after(14, by=THIEF)).changes == ()


def test_whoever_looks_for_the_first_time_needs_the_old_key_alone(memory: Memory) -> None:
    assert seen(memory, after(9, given_over(6))).before is None


def test_the_change_is_kept_as_it_was_signed(memory: Memory) -> None:
    seen(memory, showing(given_over(6), 6))
    (change,) = memory.key_changes(KEYS)
    assert change.note == str(given_over(6))


# --- impostors


def test_with_the_new_key_alone(memory: Memory) -> None:
    """It says that it follows, and nobody who was trusted says so."""
    seen(memory, FakeLog(5))
    by_both = given_over(6, SIGNER, THIEF)
    for log in (
        after(9, by=THIEF),
        after(9, msgspec.structs.replace(by_both, lines=by_both.lines[1:]), by=THIEF),
        after(9, given_over(6, NEW, THIEF), by=THIEF),
        showing(msgspec.structs.replace(by_both, lines=by_both.lines[1:]), 6),
    ):
        alarm = alarmed(memory, log)
        assert (alarm.kind, proves_fault(alarm, KEYS)) == ("bad_signature", False)
        memory.acknowledge(alarm, "seen", NOW, start_over=False)
    assert memory.keys(KEYS) == KEYS


def test_a_line_added_under_a_genuine_checkpoint_changes_nothing(memory: Memory) -> None:
    """The old key signs which key follows, not only the tree."""
    genuine = FakeLog(6)
    genuine.shown = genuine.note().with_lines(genuine.note(THIEF).lines)
    seen(memory, genuine)
    assert memory.keys(KEYS) == KEYS
    assert alarmed(memory, after(9, genuine.shown, by=THIEF)).kind == "bad_signature"


def test_signed_by_the_old_key_alone(memory: Memory) -> None:
    note = given_over(6)
    alarm = alarmed(memory, showing(msgspec.structs.replace(note, lines=note.lines[:1]), 6))
    assert alarm.kind == "half_change"
    assert "the key that it names does not vouch" in alarm.why.lower()
    assert memory.keys(KEYS) == KEYS


def test_with_the_old_key_after_the_change(memory: Memory) -> None:
    """A stolen key is worth nothing to whoever followed; what it signed later is proof."""
    seen(memory, showing(given_over(6), 6))
    alarm = alarmed(memory, FakeLog(9))
    assert (alarm.kind, alarm.kept) == ("old_key", str(given_over(6)))
    assert proves_fault(alarm, KEYS)
    assert not proves_fault(alarm, [NEW.verifier])
    assert not proves_fault(msgspec.structs.replace(alarm, shown=str(FakeLog(6).note())), KEYS)


def test_the_old_key_gives_the_log_to_somebody_else_too(memory: Memory) -> None:
    seen(memory, showing(given_over(6), 6))
    for log in (
        showing(given_over(6, SIGNER, THIEF), 6),
        showing(given_over(9, SIGNER, THIEF), 9),
        after(9, given_over(7, SIGNER, THIEF), by=THIEF),
    ):
        alarm = alarmed(memory, log)
        assert (alarm.kind, proves_fault(alarm, KEYS)) == ("two_keys", True)
        memory.acknowledge(alarm, "seen", NOW, start_over=False)
    assert memory.keys(KEYS) == [SIGNER.verifier, NEW.verifier]


def test_a_change_over_another_tree_is_a_fork(memory: Memory) -> None:
    seen(memory, FakeLog(5))
    alarm = alarmed(memory, after(12, given_over(8, story="false"), story="true"))
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("rewritten", True)
    assert memory.keys(KEYS) == KEYS


def test_an_old_state_under_the_old_key_is_still_an_old_state(memory: Memory) -> None:
    seen(memory, after(9, given_over(6)))
    assert alarmed(memory, FakeLog(5)).kind == "smaller"


def test_a_key_trusted_by_hand_is_bounded_once_the_change_is_known(memory: Memory) -> None:
    seen(memory, FakeLog(5))
    both = [SIGNER.verifier, NEW.verifier]
    found = look(memory, after(9, given_over(6)), both, NOW)
    assert isinstance(found, Seen)
    stolen = look(memory, FakeLog(12), both, NOW)
    assert isinstance(stolen, Alarm)
    assert stolen.kind == "old_key"

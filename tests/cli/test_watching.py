"""What a client accepts of a log, and what raises an alarm. The log is in memory, its hashes
by RFC 9162's own recursion."""

from pathlib import Path
from threading import Event, Thread

import msgspec
import pytest
from tests.cli.fakelog import SIGNER, FakeLog
from tests.domain.translog.reference import root_of, subproof_of

from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.notes import open_note, read_note, signed
from scalewitness.domain.translog.tiles import Tile
from scalewitness_cli.alarms import Alarm, proves_fault
from scalewitness_cli.memory import Memory, all_memories
from scalewitness_cli.remote import Stopped
from scalewitness_cli.witness import Seen, look, to_send

KEYS = [SIGNER.verifier]
NOW = 1_790_000_000


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, SIGNER.name)


def watched(memory: Memory, *logs: FakeLog) -> Seen | Alarm:
    """The outcome of the last look."""
    for log in logs:
        seen = look(memory, log, KEYS, NOW)
    return seen


def accepted(memory: Memory, *logs: FakeLog) -> Seen:
    seen = watched(memory, *logs)
    assert isinstance(seen, Seen), seen
    return seen


def alarmed(memory: Memory, *logs: FakeLog) -> Alarm:
    alarm = watched(memory, *logs)
    assert isinstance(alarm, Alarm), alarm
    return alarm


# --- what is accepted


def test_the_first_time_there_is_nothing_to_compare_with(memory: Memory) -> None:
    seen = accepted(memory, FakeLog(5))
    assert (seen.head.size, seen.before) == (5, None)
    assert str(memory.kept()) == FakeLog(5).checkpoint().decode()


def test_growth_is_proved_from_the_tiles(memory: Memory) -> None:
    for size in (0, 1, 1, 2, 255, 256, 257, 600, 1300):
        seen = accepted(memory, FakeLog(size))
        assert seen.head.size == size
    assert seen.before is not None
    assert seen.before.size == 600


def test_a_rotated_key_counts_once_it_is_trusted(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    new = Signer(SIGNER.name, KeyType.ED25519, bytes(32))
    log = FakeLog(7)
    log.shown = log.note(new)
    assert isinstance(look(memory, log, [SIGNER.verifier, new.verifier], NOW), Seen)


# --- what is not


def test_another_root_of_the_same_size(memory: Memory) -> None:
    alarm = alarmed(memory, FakeLog(8), FakeLog(8, "false", since=3))
    assert alarm.kind == "other_root"
    assert proves_fault(alarm, KEYS)


@pytest.mark.parametrize(("before", "since", "after"), [(8, 3, 9), (8, 0, 8000), (300, 299, 301)])
def test_another_past(memory: Memory, before: int, since: int, after: int) -> None:
    alarm = alarmed(memory, FakeLog(before), FakeLog(after, "false", since))
    assert alarm.kind == "rewritten"
    assert proves_fault(alarm, KEYS)


def test_an_entry_left_out(memory: Memory) -> None:
    shorter = FakeLog(10)
    del shorter.leaves[3]
    alarm = alarmed(memory, FakeLog(8), shorter)
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("rewritten", True)


def test_a_smaller_tree(memory: Memory) -> None:
    """An old state shown again proves no fault to others; one that is another tree does."""
    alarm = alarmed(memory, FakeLog(8), FakeLog(5))
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("smaller", False)
    assert "5 entries now, 8 before" in alarm.why


def test_a_smaller_tree_of_another_past(memory: Memory) -> None:
    """The log still gives out the larger one's tiles."""
    log = FakeLog(8)
    log.shown = FakeLog(5, "false").note()
    alarm = alarmed(memory, FakeLog(8), log)
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("smaller", True)


def test_tiles_that_do_not_make_up_the_tree(memory: Memory) -> None:
    log = FakeLog(9)
    log.shown = FakeLog(9, "false", since=8).note()
    alarm = alarmed(memory, FakeLog(5), log)
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("unproven", False)


def test_tiles_kept_back(memory: Memory) -> None:
    log = FakeLog(5)
    log.shown = FakeLog(9).note()
    assert alarmed(memory, FakeLog(5), log).kind == "unproven"


def test_another_signature(memory: Memory) -> None:
    log = FakeLog(9)
    log.shown = log.note(Signer(SIGNER.name, KeyType.ED25519, bytes(32)))
    alarm = alarmed(memory, FakeLog(5), log)
    assert (alarm.kind, proves_fault(alarm, KEYS)) == ("bad_signature", False)
    assert "not signed by the key you trust" in alarm.why


def test_a_signature_of_something_else(memory: Memory) -> None:
    log = FakeLog(9)
    note = log.note()
    log.shown = msgspec.structs.replace(note, text=note.text.replace("\n9\n", "\n8\n"))
    assert alarmed(memory, log).kind == "bad_signature"


def test_another_log(memory: Memory) -> None:
    log = FakeLog(9)
    log.shown = log.note(Signer("else.example/log", KeyType.ED25519, bytes(32)), "else.example/log")
    assert alarmed(memory, FakeLog(5), log).kind == "other_log"


def test_a_signed_note_that_is_no_checkpoint(memory: Memory) -> None:
    log = FakeLog(9)
    log.shown = signed(f"{SIGNER.name}\nnine\n", SIGNER)
    assert alarmed(memory, log).kind == "bad_signature"


def test_two_histories_shown_to_two_clients(tmp_path: Path) -> None:
    """Each sees a log that grows as it should; side by side they cannot both be true."""
    one, two = Memory(tmp_path / "1", SIGNER.name), Memory(tmp_path / "2", SIGNER.name)
    for size in (5, 8):
        accepted(one, FakeLog(size, "told to one", since=5))
        accepted(two, FakeLog(size + 1, "told to two", since=5))
    shown_to_one = one.kept()
    assert shown_to_one is not None
    alarm = look(two, FakeLog(11, "told to two", since=5), KEYS, NOW, [shown_to_one])
    assert isinstance(alarm, Alarm)
    assert (alarm.kind, alarm.kept) == ("rewritten", str(shown_to_one))
    # Anyone can see it, from the file alone and the log's key.
    kept = msgspec.json.decode(two.file_of(alarm).read_bytes(), type=Alarm)
    assert proves_fault(kept, KEYS)
    for text in (kept.kept, kept.shown):
        open_note(text or "", KEYS)


def test_the_other_history_shown_to_the_same_client_later(memory: Memory) -> None:
    log, other = FakeLog(8, "told to one", since=5), FakeLog(9, "told to two", since=5)
    assert proves_fault(alarmed(memory, log, other), KEYS)


def test_what_others_were_shown_fits(memory: Memory) -> None:
    also = [FakeLog(3).note(), FakeLog(8).note()]
    assert isinstance(look(memory, FakeLog(8), KEYS, NOW, also), Seen)


def test_more_was_shown_to_others(memory: Memory) -> None:
    alarm = look(memory, FakeLog(8), KEYS, NOW, [FakeLog(9).note()])
    assert isinstance(alarm, Alarm)
    assert alarm.kind == "smaller"


def test_a_checkpoint_somebody_made_up_raises_no_alarm(memory: Memory) -> None:
    forged = FakeLog(9).note(Signer(SIGNER.name, KeyType.ED25519, bytes(32)))
    with pytest.raises(Stopped, match="not signed by"):
        look(memory, FakeLog(8), KEYS, NOW, [forged])
    assert memory.alarms() == []


@pytest.mark.parametrize("page", [b"", b"<html>sign in to the network</html>", b"\xff"])
def test_a_page_in_between_is_no_alarm(memory: Memory, page: bytes) -> None:
    log = FakeLog(5)
    log.checkpoint = lambda: page  # type: ignore[method-assign]
    with pytest.raises(Stopped, match="something that is not a checkpoint"):
        look(memory, log, KEYS, NOW)
    assert memory.alarms() == []


def test_a_line_that_goes_dead_is_no_alarm(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    log = FakeLog(9)

    def dead(place: Tile) -> bytes:
        raise Stopped("no answer")

    log.tile = dead  # type: ignore[method-assign]
    with pytest.raises(Stopped):
        look(memory, log, KEYS, NOW)
    assert str(memory.kept()) == FakeLog(5).checkpoint().decode()
    # But a smaller tree is one without any tiles.
    log.shown = FakeLog(4).note()
    assert alarmed(memory, log).kind == "smaller"


# --- alarms stay


def test_an_alarm_stands_until_acknowledged(memory: Memory) -> None:
    false, good = FakeLog(9, "false"), FakeLog(9)
    alarm = alarmed(memory, FakeLog(8), false)
    assert alarmed(memory, good) == alarm
    assert alarmed(Memory(memory.folder.parents[1], SIGNER.name), good) == alarm
    assert str(memory.kept()) == FakeLog(8).checkpoint().decode()
    assert to_send(memory, NOW) is None
    done = memory.acknowledge(alarm, "it was the other server", NOW, start_over=False)
    assert "it was the other server" in done.read_text()
    assert accepted(memory, good).head.size == 9


def test_acknowledged_but_still_wrong_it_comes_again(memory: Memory) -> None:
    false = FakeLog(9, "false")
    alarm = alarmed(memory, FakeLog(8), false)
    memory.acknowledge(alarm, "seen", NOW, start_over=False)
    again = alarmed(memory, false)
    memory.acknowledge(again, "the operator adopted this fork", NOW, start_over=True)
    assert accepted(memory, false).before is None
    assert len(list((memory.folder / "acknowledged").iterdir())) == len({alarm.id, again.id})


def test_tampered_evidence_proves_nothing(memory: Memory) -> None:
    alarm = alarmed(memory, FakeLog(8), FakeLog(9, "false"))
    assert proves_fault(alarm, KEYS)
    other = FakeLog(8).note(Signer(SIGNER.name, KeyType.ED25519, bytes(32)))
    honest = FakeLog(9).note()
    for change in (
        {"kept": str(other)},
        {"kept": None},
        {"shown": str(honest)},
        {"shown": "x"},
        {"proof": alarm.proof[1:]},
        {"proof": ["?"]},
        {"root_then": None},
    ):
        assert not proves_fault(msgspec.structs.replace(alarm, **change), KEYS)
    assert not proves_fault(alarm, [])


def test_growth_is_no_proof_of_a_fault(memory: Memory) -> None:
    """An honest log cannot be accused, whatever is put beside its notes."""
    alarm = alarmed(memory, FakeLog(8), FakeLog(9, "false"))
    old, new = FakeLog(5), FakeLog(9)
    honest = msgspec.structs.replace(
        alarm,
        kept=str(old.note()),
        shown=str(new.note()),
        root_then=encode64(root_of(old.leaves)),
        proof=[encode64(one) for one in subproof_of(5, new.leaves)],
    )
    assert not proves_fault(honest, KEYS)
    same = msgspec.structs.replace(honest, shown=str(old.note()))
    assert not proves_fault(same, KEYS)


# --- cosigning


def test_it_cosigns_what_it_accepted(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    made = to_send(memory, NOW)
    assert made is not None
    note = made.note.with_lines([made.line])
    opened = open_note(note, [SIGNER.verifier, made.key])
    assert [one.at for one in opened.verified] == [None, NOW]
    assert made.key.type is KeyType.COSIGNATURE
    assert made.key.name.startswith(f"{SIGNER.name}/witness/")
    assert len(made.key.name.removeprefix(f"{SIGNER.name}/witness/")) == 16


def test_once_sent_it_is_not_sent_again(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    made = to_send(memory, NOW)
    assert made is not None
    memory.note_sent(made.note)
    accepted(memory, FakeLog(5))
    assert to_send(memory, NOW) is None
    accepted(memory, FakeLog(6))
    again = to_send(memory, NOW)
    assert again is not None
    assert again.key == made.key


def test_its_key_is_its_own_secret(memory: Memory, tmp_path: Path) -> None:
    accepted(memory, FakeLog(5))
    to_send(memory, NOW)
    assert (memory.folder / "key").stat().st_mode & 0o077 == 0
    other = Memory(tmp_path, "else.example/log")
    with memory.alone(), other.alone():
        assert other.signer().seed != memory.signer().seed
    assert {one.origin for one in all_memories(tmp_path)} == {memory.origin, other.origin}


# --- on the disk


def test_a_crash_while_writing_loses_nothing(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    (memory.folder / ".checkpoint.new").write_text("half a")
    accepted(memory, FakeLog(6))
    assert read_note(str(memory.kept())).text.startswith(f"{SIGNER.name}\n6\n")


def test_a_damaged_memory_is_not_taken_for_a_first_time(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    (memory.folder / "checkpoint").write_text("half a")
    with pytest.raises(Stopped, match="damaged"):
        look(memory, FakeLog(6), KEYS, NOW)
    to_send_from = Memory(memory.folder.parents[1], SIGNER.name)
    (memory.folder / "key").write_text("half a")
    (memory.folder / "checkpoint").write_text(FakeLog(5).checkpoint().decode())
    with pytest.raises(Stopped, match="damaged"):
        to_send(to_send_from, NOW)


def test_a_stalled_shorter_look_does_not_roll_it_back(memory: Memory) -> None:
    accepted(memory, FakeLog(5))
    stalled, go_on = Event(), Event()
    slow, real = FakeLog(6), FakeLog(6).tile

    def stall(place: Tile) -> bytes:
        stalled.set()
        assert go_on.wait(10)
        return real(place)

    slow.tile = stall  # type: ignore[method-assign]
    ends: list[Seen | Alarm] = []
    first = Thread(target=lambda: ends.append(look(memory, slow, KEYS, NOW)))
    first.start()
    assert stalled.wait(10)
    again = Memory(memory.folder.parents[1], SIGNER.name)
    second = Thread(target=lambda: ends.append(look(again, FakeLog(9), KEYS, NOW)))
    second.start()
    second.join(0.3)
    assert second.is_alive()  # it waits for the first, else that would put its 6 over the 9
    go_on.set()
    first.join(10)
    second.join(10)
    assert [type(end) for end in ends] == [Seen, Seen]
    kept = memory.kept()
    assert kept is not None
    assert kept.text.split("\n")[1] == "9"


def test_the_reference_agrees(memory: Memory) -> None:
    """The fake's own tiles lead to the root it signs, at level 1 too."""
    log = FakeLog(700)
    roots = log.tile(Tile(1, 0, 2))
    assert roots == root_of(log.leaves[:256]) + root_of(log.leaves[256:512])

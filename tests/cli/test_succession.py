"""A log that says it goes on from the one watched: what is proved of it before anyone follows."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.cli.fakelog import SIGNER, FakeLog
from tests.domain.translog.reference import path_of, root_of

from scalewitness.domain.facts import OriginSucceeded
from scalewitness.domain.translog.base64s import encode64
from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer
from scalewitness.domain.translog.leaf import leaf_bytes
from scalewitness.domain.translog.notes import Note, signed
from scalewitness.domain.translog.proofs import root_through
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness_cli.alarms import Alarm
from scalewitness_cli.memory import Memory
from scalewitness_cli.witness import Seen, look

KEYS = [SIGNER.verifier]
ANEW = Signer("anew.example/log", KeyType.ED25519, bytes(range(5, 37)))
NOW = 1_790_000_000
ID = "01a2153e-0715-7e46-a419-481817e81a97"


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, SIGNER.name)


def closing(kept: int, last: Note, missing: int, old: Signer = SIGNER) -> bytes:
    """The entry that closes a log after as many entries."""
    body = OriginSucceeded(
        old_key=str(old.verifier),
        new_key=str(ANEW.verifier),
        checkpoint=str(last),
        kept=kept,
        missing=missing,
        statement="ab" * 32,
    )
    told = {name: getattr(body, name) for name in body.__struct_fields__}
    return leaf_bytes(
        kind="origin_succeeded", id=ID, by=None, device=None, at="2026-11-29T01:00:00.000Z",
        about=ID, body=told, sig=None,
    )  # fmt: skip


def anew(left: FakeLog, entry: bytes, more: int = 2) -> FakeLog:
    """What is left of a log, its closing entry, and some more, under the new key."""
    position = len(left.leaves)
    left.leaves += [leaf_hash(entry), *(leaf_hash(b"later %d" % n) for n in range(more))]
    left.shown = left.note(ANEW, ANEW.name)
    shown = {"position": position, "entry": encode64(entry), "statement": "A disk failed."}
    said = {"origin": ANEW.name, "key": str(ANEW.verifier), "closed": [shown]}
    left.said = json.dumps(said).encode()
    return left


def watch(memory: Memory, *sizes: int) -> None:
    for size in sizes:
        assert isinstance(look(memory, FakeLog(size), KEYS, NOW), Seen)


def alarmed(memory: Memory, log: FakeLog, known: Callable[[], list[Checkpoint]] = list) -> Alarm:
    alarm = look(memory, log, KEYS, NOW, known=known)
    assert isinstance(alarm, Alarm)
    assert memory.kept() is not None
    return alarm


def test_a_log_that_shows_what_it_kept_is_told_of_and_not_followed(memory: Memory) -> None:
    watch(memory, 300, 306, 310)
    alarm = alarmed(memory, anew(FakeLog(306), closing(306, FakeLog(310).note(), 4)))
    assert alarm.kind == "succeeded"
    assert "goes on as anew.example/log, with its first 306 entries" in alarm.why
    assert "It says that it lost the entries 306 to 309." in alarm.why
    assert "Its operator says: “A disk failed.”" in alarm.why
    assert str(ANEW.verifier) in alarm.why
    assert "more are missing" not in alarm.why
    kept = memory.kept()
    assert kept is not None
    assert kept.text == FakeLog(310).note().text
    assert alarmed(memory, FakeLog(310)) == alarm


def test_more_is_missing_than_it_says(memory: Memory) -> None:
    watch(memory, 300, 312)
    alarm = alarmed(memory, anew(FakeLog(306), closing(306, FakeLog(310).note(), 4)))
    assert "at least 312 when this machine saw it: more are missing" in alarm.why


def test_nothing_that_was_seen_is_missing(memory: Memory) -> None:
    watch(memory, 300)
    alarm = alarmed(memory, anew(FakeLog(306), closing(306, FakeLog(306).note(), 0)))
    assert "It does not say that anything is missing" in alarm.why
    assert "Nothing that this machine saw is missing." in alarm.why


@pytest.mark.parametrize("since", [0, 150, 299])
def test_a_fork_is_not_passed_off_as_what_is_left(memory: Memory, since: int) -> None:
    watch(memory, 300, 310)
    forged = FakeLog(306, "false", since)
    alarm = alarmed(memory, anew(forged, closing(306, FakeLog(310).note(), 4)))
    assert alarm.kind == "rewritten"
    assert "its first 300 entries are not those that were seen of the old log" in alarm.why


def test_a_receipt_alone_shows_the_fork(memory: Memory) -> None:
    """Of an entry that was kept, under a checkpoint of more than were kept."""
    watch(memory, 310)
    leaves = FakeLog(310).leaves
    root = root_through(leaves[200], 200, 310, path_of(200, leaves))
    assert root == root_of(leaves[:201])
    known = [Checkpoint(SIGNER.name, 201, root)]
    forged = anew(FakeLog(306, "false", 200), closing(306, FakeLog(310).note(), 4))
    alarm = alarmed(memory, forged, lambda: known)
    assert alarm.kind == "rewritten"


def test_two_trees_of_one_size_signed_of_the_old_log(memory: Memory) -> None:
    watch(memory, 300, 310)
    last = FakeLog(310, "false", 308).note()
    alarm = alarmed(memory, anew(FakeLog(306), closing(306, last, 4)))
    assert alarm.kind == "rewritten"
    assert "two trees of 310 entries" in alarm.why


STRANGER = Signer(SIGNER.name, KeyType.ED25519, bytes(range(9, 41)))
FAKE_LAST = signed(Checkpoint(SIGNER.name, 310, bytes(range(32))).body(), STRANGER)


@pytest.mark.parametrize(
    "entry",
    [
        closing(306, FakeLog(310).note(), 3),
        closing(305, FakeLog(310).note(), 5),
        closing(306, FAKE_LAST, 4, STRANGER),
        closing(306, FAKE_LAST, 4),
        b"{}",
    ],
    ids=["miscounted", "of another place", "of another key", "signed by a stranger", "no entry"],
)
def test_what_does_not_close_the_log_is_another_log(memory: Memory, entry: bytes) -> None:
    watch(memory, 300, 310)
    assert alarmed(memory, anew(FakeLog(306), entry)).kind == "other_log"


def test_another_log_that_says_nothing_or_shows_an_entry_it_has_not(memory: Memory) -> None:
    watch(memory, 300, 310)
    entry = closing(306, FakeLog(310).note(), 4)
    log = anew(FakeLog(306), b"something else")
    log.said = anew(FakeLog(306), entry).said
    assert alarmed(memory, log).kind == "other_log"
    memory.acknowledge(memory.alarms()[0], "looked into", NOW, start_over=False)
    log = anew(FakeLog(306), entry)
    log.said = None
    assert alarmed(memory, log).kind == "other_log"


def test_what_was_seen_is_remembered_far_back_and_thinly(memory: Memory) -> None:
    watch(memory, *range(1, 1000, 6))
    seen = [one.size for one in memory.seen()]
    assert len(seen) < 100
    assert seen[-5:] == [*range(973, 1000, 6)]
    for back in (10, 100, 500, 900):  # not much further back than that
        assert any(back <= 1000 - size <= 1.2 * back + 3 for size in seen)

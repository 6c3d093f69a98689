"""Witness keys that were revoked: a log says it once, and it is remembered for good."""

import json
from pathlib import Path

import pytest
from tests.cli.fakelog import SIGNER, FakeLog

from scalewitness.domain.translog.keys import KeyType, Signer, Verified
from scalewitness_cli.memory import Memory
from scalewitness_cli.remote import Stopped
from scalewitness_cli.revoked import known, learn, revoked_among

WITNESS = Signer("record.example/log/witness/00000000000000aa", KeyType.COSIGNATURE, bytes(32))
KEY = str(WITNESS.verifier)


@pytest.fixture
def memory(tmp_path: Path) -> Memory:
    return Memory(tmp_path, SIGNER.name)


def told(memory: Memory, *revoked: tuple[str, int]) -> dict[str, int]:
    log = FakeLog(5)
    rows = [{"key": key, "size": size, "position": 4} for key, size in revoked]
    log.revoked = json.dumps({"keepers": 1, "outside": 0, "heads": [], "revoked": rows}).encode()
    learn(memory, log)
    return known(memory)


def test_a_log_takes_trust_away_and_never_gives_it_back(memory: Memory) -> None:
    assert told(memory, (KEY, 9)) == {KEY: 9}
    assert told(memory) == {KEY: 9}
    assert told(memory, (KEY, 30)) == {KEY: 9}
    assert told(memory, (KEY, 4), ("another", 2)) == {KEY: 4, "another": 2}


def test_a_log_that_says_nothing_of_it_is_as_before(memory: Memory) -> None:
    learn(memory, FakeLog(5))
    log = FakeLog(5)
    log.revoked = b'{"keepers": 0}'
    learn(memory, log)
    assert known(memory) == {}


def test_what_cannot_be_read_stops(memory: Memory) -> None:
    log = FakeLog(5)
    log.revoked = b'{"revoked": [{"key": 1}]}'
    with pytest.raises(Stopped):
        learn(memory, log)


def test_lines_are_worth_nothing_from_the_size_on(memory: Memory) -> None:
    verifier = WITNESS.verifier
    line = Verified(verifier.name, verifier.key_id, KeyType.COSIGNATURE, 1_790_000_000)
    other = Verified("quiet.example", verifier.key_id, KeyType.COSIGNATURE, 1_790_000_000)
    revoked = {KEY: 9, "no key": 0}
    assert revoked_among([line, other], revoked, 8) == {}
    assert revoked_among([line, other], revoked, 9) == {line: 9}

"""The tests' own witness, held to the published answers of a real one
(``signed_notes.json``: sunlight's witness tests) and to what C2SP tlog-witness adds."""

import json
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
from tests.domain.translog.reference import root_of, subproof_of
from tests.witnessing import Answer, SmallWitness

from scalewitness.domain.translog.checkpoints import Checkpoint
from scalewitness.domain.translog.keys import KeyType, Signer, read_verifier
from scalewitness.domain.translog.notes import Note, open_note, read_note, signature_line, signed
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.domain.translog.witnessing import AddCheckpoint, read_cosignatures

PROTOCOL = json.loads(
    (Path(__file__).parents[1] / "vectors" / "signed_notes.json").read_text(encoding="utf-8")
)["witness_protocol"]
LOG = Signer("record.example/log", KeyType.ED25519, bytes(range(32)))
LEAVES = [leaf_hash(str(number).encode()) for number in range(8)]


def witness(**more: Any) -> SmallWitness:
    signer = Signer("example.com/witness", KeyType.COSIGNATURE, bytes(32))
    return SmallWitness(signer, {LOG.name: LOG.verifier}, **more)


def note(size: int, root: bytes | None = None) -> Note:
    return signed(Checkpoint(LOG.name, size, root or root_of(LEAVES[:size])).body(), LOG)


def request(old: int, size: int, **more: Any) -> bytes:
    proof = subproof_of(old, LEAVES[:size]) if 0 < old <= size else []
    fields = {"old": old, "proof": tuple(proof), "checkpoint": note(size)} | more
    return str(AddCheckpoint(**fields)).encode()


def at(size: int) -> SmallWitness:
    grown = witness()
    assert grown.add_checkpoint(request(0, size)).status == 200
    return grown


def test_the_published_steps_in_order() -> None:
    key = read_verifier(PROTOCOL["log_vkey"])
    signer = Signer(PROTOCOL["witness_name"], KeyType.COSIGNATURE, bytes(32))
    one = SmallWitness(signer, {key.name: key})
    assert len(PROTOCOL["steps"]) == 11
    for step in PROTOCOL["steps"]:
        answer = one.add_checkpoint(step["request_body"].encode())
        assert answer.status == step["status"], step["name"]
        assert step["body_contains"] in answer.body, step["name"]


def more_statuses() -> dict[str, list[bytes]]:
    """What `more_statuses` lists in words, against a witness that has seen five entries."""
    other = Signer(LOG.name, KeyType.ED25519, bytes(32))
    stranger = Signer("other.example/log", KeyType.ED25519, bytes(32))
    text = note(6).text
    failing = Note(text, (signature_line(note(7).text, LOG),))
    wrong_key, elsewhere = (
        signed(text, other),
        signed(text.replace(LOG.name, stranger.name), stranger),
    )
    no_leaves = Checkpoint(LOG.name, 0, bytes(32)).body()
    return {
        "404": [request(5, 6, checkpoint=elsewhere)],
        "403": [request(5, 6, checkpoint=one) for one in (wrong_key, failing)],
        "400": [b"", b"old 5\n\nx\n", request(7, 6)],
        "409": [request(4, 6), request(0, 6)],
        "422": [
            request(5, 6, proof=()),
            request(5, 7, proof=tuple(subproof_of(5, LEAVES[:6]))),
            request(5, 5, checkpoint=note(5, bytes(32))),
            request(5, 5, proof=(bytes(32),)),
        ],
        "422 at first": [
            request(0, 3, proof=(bytes(32),)),
            request(0, 0, checkpoint=signed(no_leaves, LOG)),
        ],
    }  # fmt: skip


def test_the_other_statuses() -> None:
    cases = more_statuses()
    assert {name[:3] for name in cases} == set(PROTOCOL["more_statuses"])
    for name, bodies in cases.items():
        for body in bodies:
            one = witness() if "first" in name else at(5)
            before = dict(one.seen)
            answer = one.add_checkpoint(body)
            assert answer.status == int(name[:3]), (name, body)
            assert one.seen == before
            if name == "409":
                assert (answer.body, answer.content_type) == ("5\n", "text/x.tlog.size")


def test_its_cosignature_holds() -> None:
    one = at(5)
    (line,) = read_cosignatures(one.add_checkpoint(request(5, 8)).body.encode())
    whole = read_note(str(note(8))).with_lines([line])
    assert len(open_note(whole, [LOG.verifier, one.signer.verifier]).verified) == 2


def test_a_stalled_shorter_growth_does_not_roll_it_back() -> None:
    """As torchwood's witness test: both have passed every check when the longer one wins."""
    stalled, go_on = Event(), Event()

    def stall(size: int) -> None:
        if size == 6:
            stalled.set()
            assert go_on.wait(10)

    one = at(5)
    one.stall = stall
    answers: list[Answer] = []
    slow = Thread(target=lambda: answers.append(one.add_checkpoint(request(5, 6))))
    slow.start()
    assert stalled.wait(10)
    assert one.add_checkpoint(request(5, 8)).status == 200
    go_on.set()
    slow.join(10)
    assert (answers[0].status, answers[0].body) == (409, "8\n")
    assert one.seen[LOG.name] == (8, root_of(LEAVES))


@pytest.mark.parametrize("old", [5, 8])
def test_asked_again_it_answers_again(old: int) -> None:
    """A log whose answer was lost asks from the size it knew, or the one it is told."""
    one = at(5)
    assert one.add_checkpoint(request(5, 8)).status == 200
    assert one.add_checkpoint(request(old, 8)).status == (200 if old == 8 else 409)

"""Requests to a witness, against those of sunlight's tests (``signed_notes.json``)."""

import json
from pathlib import Path
from typing import Any

import pytest

from scalewitness.domain.translog.base64s import decode64
from scalewitness.domain.translog.notes import BadNote, read_note
from scalewitness.domain.translog.witnessing import (
    AddCheckpoint,
    read_conflict,
    read_cosignatures,
)

STEPS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "signed_notes.json").read_text(encoding="utf-8")
)["witness_protocol"]["steps"]
NO_NOTE = {
    2,  # its signature's base64 has spare bits set: refused here before it is even checked
    10,  # “syntactically invalid note”
}
NOTE = STEPS[0]["request_body"].partition("\n\n")[2]


@pytest.mark.parametrize("step", STEPS, ids=lambda s: s["name"])
def test_requests_are_written_as_published(step: dict[str, Any]) -> None:
    head, _, note = step["request_body"].partition("\n\n")
    old, *proof = head.removeprefix("old ").split("\n")
    if step["step"] in NO_NOTE:
        with pytest.raises(BadNote):
            read_note(note)
    else:
        made = AddCheckpoint(int(old), tuple(map(decode64, proof)), read_note(note))
        assert str(made) == step["request_body"]


def test_answers() -> None:
    line = NOTE.splitlines()[-1]
    (read,) = read_cosignatures(f"{line}\n".encode())
    assert str(read) == f"{line}\n"
    with pytest.raises(BadNote):
        read_cosignatures(b"<html>")
    assert [read_conflict(data) for data in (b"5\n", b"05\n", b"\xff")] == [5, None, None]

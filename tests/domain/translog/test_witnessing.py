"""Requests to a witness, against those of sunlight's tests (``signed_notes.json``)."""

import json
from pathlib import Path
from typing import Any

import pytest

from scalewitness.domain.translog.notes import BadNote
from scalewitness.domain.translog.witnessing import (
    BadRequest,
    read_conflict,
    read_cosignatures,
    read_request,
)

STEPS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "signed_notes.json").read_text(encoding="utf-8")
)["witness_protocol"]["steps"]
NO_NOTE = {
    2,  # its signature's base64 has spare bits set: refused here before it is even checked
    10,  # “syntactically invalid note”
}


@pytest.mark.parametrize("step", STEPS, ids=lambda s: s["name"])
def test_published_requests(step: dict[str, Any]) -> None:
    data = step["request_body"].encode()
    if step["step"] in NO_NOTE:
        with pytest.raises(BadRequest):
            read_request(data)
    else:
        assert str(read_request(data)).encode() == data


HASH = "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n"
NOTE = STEPS[0]["request_body"].partition("\n\n")[2]


@pytest.mark.parametrize(
    "head", ["", "old\n", "old 01\n", "old -1\n", "old 1\nAAAA\n", "old 1\n" + 64 * HASH]
)
def test_malformed_requests(head: str) -> None:
    with pytest.raises(BadRequest):
        read_request(f"{head}\n{NOTE}".encode())


def test_the_most_hashes_a_proof_has() -> None:
    assert len(read_request(f"old 1\n{63 * HASH}\n{NOTE}".encode()).proof) == 63


def test_answers() -> None:
    line = NOTE.splitlines()[-1]
    (read,) = read_cosignatures(f"{line}\n".encode())
    assert str(read) == f"{line}\n"
    with pytest.raises(BadNote):
        read_cosignatures(b"<html>")
    assert [read_conflict(data) for data in (b"5\n", b"05\n", b"\xff")] == [5, None, None]

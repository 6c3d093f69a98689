"""Signed notes, keys and checkpoints against the vectors of their implementations.

Source of every vector, with the commit it was taken from: ``vectors/signed_notes.json``
(golang/mod, transparency-dev, sunlight, torchwood, C2SP).
"""

import json
from base64 import b64decode
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from scalewitness.domain.translog.checkpoints import Checkpoint, NotACheckpoint, read_body
from scalewitness.domain.translog.keys import (
    BadKey,
    KeyType,
    Signer,
    VerifierKey,
    read_signer,
    read_verifier,
)
from scalewitness.domain.translog.notes import (
    BadNote,
    Note,
    open_checkpoint,
    open_note,
    read_note,
    signature_line,
    signed,
)
from scalewitness.domain.translog.proofs import verify_consistency

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "signed_notes.json").read_text(encoding="utf-8")
)
NOTES: dict[str, Any] = {item["id"]: item for item in VECTORS["notes"]}
ACCEPTED = [id for id, item in NOTES.items() if item["expect"] == "accept"]
REJECTED = [id for id, item in NOTES.items() if item["expect"] == "reject"]
BODIES = VECTORS["checkpoint_bodies"]["items"]
SIGNERS = [read_signer(item["skey"]) for item in VECTORS["test_private_keys"]["items"]]


def raw(item: dict[str, Any]) -> bytes:
    return bytes.fromhex(item["note_hex"]) if "note_hex" in item else item["note"].encode()


def trusted(item: dict[str, Any]) -> list[VerifierKey]:
    return [read_verifier(text) for text in item["vkeys"]]


def test_all_vectors_are_here() -> None:
    assert (len(ACCEPTED), len(REJECTED)) == (34, 20)  # as the file's status says


@pytest.mark.parametrize("item", VECTORS["vkeys_valid"]["items"], ids=lambda i: i["vkey"][:24])
def test_valid_keys_are_read_and_written(item: dict[str, Any]) -> None:
    key = read_verifier(item["vkey"])
    assert (str(key), key.type) == (item["vkey"], item["type"])


@pytest.mark.parametrize("item", VECTORS["vkeys_invalid"]["items"], ids=lambda i: i["why"][:24])
def test_invalid_keys_are_refused(item: dict[str, Any]) -> None:
    with pytest.raises(BadKey):
        read_verifier(item["vkey"])


def test_types_that_do_not_sign_our_notes_are_unknown_keys() -> None:
    """0x02 ECDSA and 0x05 RFC 6962 lines are carried, never taken for a signature."""
    ecdsa, tree_head = VECTORS["other_key_ids"]["items"]
    with pytest.raises(BadKey):
        read_verifier(ecdsa["vkey"])
    note = read_note(raw(NOTES[tree_head["note_id"]]))
    (line,) = [line for line in note.lines if line.name == tree_head["key_name"]]
    assert line.key_id.hex() == tree_head["key_id"]
    public = sha256(b64decode(tree_head["log_spki_b64"])).digest()
    assert sha256(f"{line.name}\n\x05".encode() + public).digest()[:4] == line.key_id


@pytest.mark.parametrize("id", ACCEPTED)
def test_accepted_notes(id: str) -> None:
    item = NOTES[id]
    opened = open_note(raw(item), trusted(item))
    assert {f"{one.name}+{one.key_id.hex()}" for one in opened.verified} == set(
        item["verified_keys"]
    )
    if "unknown_keys" in item:
        assert {f"{one.name}+{one.key_id.hex()}" for one in opened.unknown} == set(
            item["unknown_keys"]
        )
    if "cosignature_timestamp" in item:
        assert [str(one.at) for one in opened.verified] == [str(item["cosignature_timestamp"])]


@pytest.mark.parametrize("id", REJECTED)
def test_rejected_notes(id: str) -> None:
    item = NOTES[id]
    if id == "go-duplicated-verifier":
        with pytest.raises(ValueError, match="the same name and ID"):
            open_note(raw(item), trusted(item))
    else:
        with pytest.raises(BadNote):
            open_note(raw(item), trusted(item))


@pytest.mark.parametrize("id", ACCEPTED)
def test_a_note_is_written_as_it_was_read(id: str) -> None:
    data = raw(NOTES[id])
    if id != "go-duplicate-lines":
        assert str(read_note(data)).encode() == data


def test_signing_gives_the_published_lines() -> None:
    """Ed25519 is deterministic: Peter Neumann's line and 16 checkpoints, byte for byte."""
    by_name = {signer.name: signer for signer in SIGNERS if signer.type is KeyType.ED25519}
    wanted = {"go-two-sigs-one-known": "PeterNeumann"} | {
        f"tessera-testdata-{size}": "example.com/log/testdata" for size in range(16)
    }
    for id, name in wanted.items():
        note = read_note(raw(NOTES[id]))
        assert signature_line(note.text, by_name[name]) in note.lines


def test_cosigning_gives_the_published_line() -> None:
    item = NOTES["cosig-v1-computed-tessera-15"]
    note = read_note(raw(item))
    (given,) = [line for line in note.lines if line.name == "witness"]
    (plain,) = [signer for signer in SIGNERS if signer.name == "witness"]
    cosigner = Signer("witness", KeyType.COSIGNATURE, plain.seed)
    assert cosigner.verifier.key_id == given.key_id
    assert signature_line(note.text, cosigner, 1_700_000_000) == given


def test_secret_keys_are_written_as_they_were_read_and_never_shown() -> None:
    for item, signer in zip(VECTORS["test_private_keys"]["items"], SIGNERS, strict=True):
        assert signer.secret() == item["skey"]
        assert repr(signer) == f"<signer {signer.name}>"


@pytest.mark.parametrize("text", ["", "PeterNeumann+c74f20a3+AYEK", "PRIVATE+KEY+a+00000000+AQ=="])
def test_other_secret_keys_are_refused(text: str) -> None:
    with pytest.raises(BadKey):
        read_signer(text)


@pytest.mark.parametrize("item", BODIES, ids=lambda i: i["why"] or "published")
def test_checkpoint_bodies(item: dict[str, Any]) -> None:
    if item["expect"] == "accept":
        assert read_body(item["body"]).body() == item["body"]
    else:
        with pytest.raises(NotACheckpoint):
            read_body(item["body"])


def test_two_checkpoints_of_one_log_are_consistent_and_a_split_view_is_not() -> None:
    pair = VECTORS["witness_protocol"]["monkeys_5_to_8"]
    old, new = (read_body(read_note(raw(NOTES[pair[one]])).text) for one in ("old", "new"))
    proof = [bytes.fromhex(one) for one in pair["consistency_proof_hex"]]
    given = {"size1": old.size, "root1": old.root, "size2": new.size, "proof": proof}
    assert verify_consistency(**given, root2=new.root)
    assert not verify_consistency(**given, root2=old.root)


LOG = Signer("log.example/record", KeyType.ED25519, bytes(range(32)))
KEEPER = Signer("keeper", KeyType.COSIGNATURE, bytes(range(1, 33)))
SEEN = Checkpoint(LOG.name, 1, sha256(b"\x00entry").digest())


def test_a_checkpoint_carries_signature_and_cosignature() -> None:
    note = signed(SEEN.body(), LOG)
    note = note.with_lines([signature_line(note.text, KEEPER, 1_800_000_000)])
    checkpoint, opened = open_checkpoint(str(note), LOG.verifier, (KEEPER.verifier,))
    assert checkpoint == SEEN
    assert [(one.name, one.at) for one in opened.verified] == [
        (LOG.name, None),
        ("keeper", 1_800_000_000),
    ]


def test_a_cosignature_alone_is_no_checkpoint_of_the_log() -> None:
    note = Note(SEEN.body(), (signature_line(SEEN.body(), KEEPER, 1),))
    with pytest.raises(BadNote, match="not signed by"):
        open_checkpoint(note, LOG.verifier, (KEEPER.verifier,))


def test_a_log_signs_under_its_own_name_only() -> None:
    other = Checkpoint("another.example/log", SEEN.size, SEEN.root)
    with pytest.raises(BadNote, match="another log"):
        open_checkpoint(signed(other.body(), LOG), LOG.verifier)


def test_a_time_belongs_to_cosignatures_only() -> None:
    for signer, at in ((LOG, 1), (KEEPER, None)):
        with pytest.raises(ValueError, match="a cosignature has a time"):
            signer.sign(SEEN.body(), at)

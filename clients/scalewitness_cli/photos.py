"""Photos taken here: re-encoded, stored before anything is sent, sent after their facts.

The fact with the file's fingerprint goes with the other facts; the file follows when it can,
and stays here as the keeper's own.
"""

import sqlite3
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path

from scalewitness.domain.pictures.plain import MEDIA_TYPE, NotPlain
from scalewitness.domain.pictures.reencoding import LARGEST_UPLOAD, reencoded
from scalewitness_cli.checks import BadWord, fact
from scalewitness_cli.devicekey import Fact
from scalewitness_cli.remote import Api, Refusal
from scalewitness_cli.store import Store


def drawn_from(file: Path) -> bytes:
    """What of a picture is kept and sent: nothing but the picture.

    Raises:
        BadWord: it cannot be read as one.
    """
    try:
        if file.stat().st_size > LARGEST_UPLOAD:  # before any of it is in memory
            raise NotPlain(f"a picture may have at most {LARGEST_UPLOAD // 1_000_000} MB")
        return reencoded(file.read_bytes())
    except (NotPlain, OSError) as fault:
        raise BadWord(f"{file}: {fault}") from None


def attaching(picture: bytes, *, animal: str, call: str, at: str) -> Fact:
    """The fact that says of which call a picture is."""
    body = {"sha256": sha256(picture).hexdigest(), "size": len(picture), "of": call}
    return fact("photo_attached", animal, at, body)


def keep_files(connection: sqlite3.Connection, files: Mapping[str, bytes]) -> None:
    """Within a change: keep files by the ids of their facts."""
    for id, data in files.items():
        connection.execute("INSERT INTO photo VALUES (?, ?, 'waiting', NULL)", (id, data))


def file_of(store: Store, id: str) -> bytes | None:
    """The file of a photo taken here."""
    found = store.rows("SELECT data FROM photo WHERE id = ?", id)
    return bytes(found[0]["data"]) if found else None


def waiting_files(store: Store) -> list[str]:
    """Photos whose fact the record took and whose file it does not have yet; of one whose fact
    is not here another device was told that."""
    rows = store.rows(
        "SELECT photo.id FROM photo LEFT JOIN outbox ON outbox.id = photo.id "
        "WHERE photo.state = 'waiting' AND coalesce(outbox.state, 'accepted') = 'accepted' "
        "ORDER BY outbox.seq"
    )
    return [str(row["id"]) for row in rows]


def send_file(store: Store, api: Api, id: str) -> None:
    """Send one; a refusal is noted with it. Sending the same again is safe.

    Raises:
        Unreachable: it stays to be sent.
    """
    state, fault = "sent", None
    try:
        api.put(f"photos/{id}", file_of(store, id) or b"", MEDIA_TYPE)
    except Refusal as refusal:
        state, fault = "refused", str(refusal)
    with store.change() as connection:
        connection.execute("UPDATE photo SET state = ?, fault = ? WHERE id = ?", (state, fault, id))


def unsent_files(store: Store) -> int:
    """How many the record does not have."""
    return len(store.rows("SELECT 1 FROM photo WHERE state != 'sent'"))


def refused_files(store: Store) -> dict[str, str]:
    """Photos whose file the record does not take, and why."""
    rows = store.rows("SELECT id, fault FROM photo WHERE state = 'refused'")
    return {str(row["id"]): str(row["fault"]) for row in rows}

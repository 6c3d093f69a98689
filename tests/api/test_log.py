"""The log as outsiders read it. Paths and widths: C2SP tlog-tiles, as merkle_rfc6962.json
has them; roots, paths and proofs: RFC 9162's own recursion (`domain/translog/reference`)."""

import json
from base64 import b64decode
from pathlib import Path
from typing import Any

import pytest
from django.conf import LazySettings, settings
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from tests.api.client import Api
from tests.domain.translog.reference import path_of, root_of, subproof_of
from tests.ledger.growing import NOW, STATED, append, leaves

from scalewitness.domain.translog.keys import KeyType, Signer, read_signer
from scalewitness.domain.translog.notes import open_checkpoint
from scalewitness.domain.translog.tiles import NotATile, Tile, read_path
from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
TILES = json.loads(
    (Path(__file__).parents[1] / "vectors" / "merkle_rfc6962.json").read_text(encoding="utf-8")
)["tiles"]


def get(path: str, **headers: str) -> HttpResponse:
    return Client().get(f"/log/{path}", headers=headers)


def hashes(tile: str) -> list[bytes] | None:
    answer = get(f"tile/{tile}")
    if answer.status_code == 404:
        return None
    assert answer.headers["Content-Type"] == "application/octet-stream"
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
    data = answer.content
    return [data[i : i + 32] for i in range(0, len(data), 32)]


def tampered(change: str) -> None:
    """What a superuser can do: switch the guard off, change, switch it on."""
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_head DISABLE TRIGGER ALL")
        cursor.execute(f"UPDATE ledger_head SET {change}")  # noqa: S608
        cursor.execute("ALTER TABLE ledger_head ENABLE TRIGGER ALL")


# --- the checkpoint


def test_a_checkpoint_is_signed_when_there_is_none_yet() -> None:
    append(3)
    answer = get("checkpoint")
    log = read_signer(settings.LOG_SIGNING_KEY).verifier
    head, _ = open_checkpoint(answer.content, log)
    assert (head.size, head.root) == (3 + STATED, root_of(leaves()))
    assert answer.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
    assert "Set-Cookie" not in answer.headers


def test_afterwards_it_is_the_background_that_signs() -> None:
    append(3)
    first = get("checkpoint").content
    append(1)
    assert get("checkpoint").content == first
    sign_checkpoint(NOW)
    assert get("checkpoint").content != first
    assert Checkpoint.objects.count() == 2


def test_after_a_change_of_key_the_new_one_vouches(settings: LazySettings, nobody: Api) -> None:
    append(2)
    old = nobody.get("/log/checkpoint").body
    new = Signer("testserver/log", KeyType.ED25519, bytes(32))
    settings.LOG_SIGNING_KEY, settings.LOG_RETIRED_KEYS = new.secret(), [old["key"]]
    open_checkpoint(get("checkpoint").content, new.verifier)
    shown = nobody.get("/log/checkpoint").body
    assert (shown["key"], shown["retired_keys"]) == (str(new.verifier), [old["key"]])


def test_a_log_that_contradicts_itself_is_not_vouched_for(nobody: Api) -> None:
    append(2)
    tampered("root = sha256('x')")
    for answer in (get("checkpoint"), get("tile/0/000.p/2")):
        assert answer.status_code == 503
        assert json.loads(answer.content)["code"] == "log_contradicted"
        assert answer.headers["Cache-Control"] == "no-store"
    for path in ("/log/checkpoint", "/log/inclusion?position=0", "/log/consistency?old=1"):
        assert nobody.get(path.partition("?")[0], **_query(path)).code == "log_contradicted"


def _query(path: str) -> dict[str, Any]:
    return dict(part.split("=") for part in path.partition("?")[2].split("&") if part)


def test_without_tls_the_public_part_answers_all_the_same(settings: LazySettings) -> None:
    """As in production, where everything else is sent to TLS first."""
    settings.SECURE_SSL_REDIRECT = True
    append(1)
    assert get("checkpoint").status_code == 200
    assert get("tile/0/000.p/1").status_code == 200
    assert Client().get("/about").status_code == 301


# --- tiles


def test_tiles_up_to_the_checkpoint_and_no_further() -> None:
    append(600 - STATED)
    sign_checkpoint(NOW)
    append(300)
    all_leaves = leaves()
    assert hashes("0/000") == all_leaves[:256]
    assert hashes("0/001") == all_leaves[256:512]
    assert hashes("0/002.p/88") == all_leaves[512:600]
    assert hashes("0/002.p/40") == all_leaves[512:552]
    assert hashes("0/000.p/7") == all_leaves[:7]
    assert hashes("1/000.p/2") == [root_of(all_leaves[:256]), root_of(all_leaves[256:512])]
    for beyond in ("0/002.p/89", "0/002", "0/003.p/1", "0/003", "1/000.p/3", "1/000", "2/000.p/1"):
        assert hashes(beyond) is None, beyond
    sign_checkpoint(NOW)
    assert hashes("0/002") == all_leaves[512:768]
    assert hashes("1/000.p/3") is not None


def test_full_tiles_are_kept_for_good_and_partial_ones_for_a_while() -> None:
    append(257)
    full, partial = get("tile/0/000"), get("tile/0/001.p/1")
    assert full.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert partial.headers["Cache-Control"] == "public, max-age=86400"
    for answer, path in ((full, "tile/0/000"), (partial, "tile/0/001.p/1")):
        etag = answer.headers["ETag"]
        assert etag.startswith('"')
        again = get(path, **{"If-None-Match": etag})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["Access-Control-Allow-Origin"] == "*"
        assert again.headers["Cache-Control"] == answer.headers["Cache-Control"]
        assert get(path, **{"If-None-Match": '"other"'}).status_code == 200
        assert {"Set-Cookie", "Vary"}.isdisjoint(answer.headers)


def test_head_tells_of_a_tile_without_it() -> None:
    append(256)
    answer = Client().head("/log/tile/0/000")
    assert (answer.status_code, answer.content) == (200, b"")
    assert answer.headers["Content-Length"] == "8192"
    assert Client().post("/log/tile/0/000").status_code == 405


@pytest.mark.parametrize("vector", TILES["paths"], ids=lambda vector: vector["path"])
def test_the_paths_of_the_specification(vector: dict[str, Any]) -> None:
    path = vector["path"].removeprefix("tile/")
    append(1)
    answer = get(f"tile/{path}")
    assert answer.status_code == 404
    if vector["kind"] == "entries":
        assert "receipt" in json.loads(answer.content)["detail"]
    else:
        width = vector["width"] or 256
        assert read_path(path) == Tile(vector["level"], vector["index"], width)


@pytest.mark.parametrize("pair", TILES["bad_level_index"], ids="/".join)
def test_paths_that_are_none(pair: list[str]) -> None:
    path = "/".join(pair)
    append(1)
    with pytest.raises(NotATile):
        read_path(path)
    answer = get(f"tile/{path}")
    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", ["0/0", "0/000.p/0", "0/000.p/256", "00/000", "0/x000/000", "%00"])
def test_a_tile_has_one_path(path: str) -> None:
    append(300)
    assert hashes(path) is None


# --- proofs


def test_proofs_join_entries_to_the_checkpoint(nobody: Api) -> None:
    append(520 - STATED)
    sign_checkpoint(NOW)
    all_leaves = leaves()
    for position, size in ((0, 1), (255, 256), (256, 300), (519, 520), (3, None)):
        more = {} if size is None else {"size": size}
        found = nobody.get("/log/inclusion", position=position, **more).body
        known = all_leaves[: size or 520]
        assert b64decode(found["leaf_hash"]) == all_leaves[position]
        assert b64decode(found["root"]) == root_of(known)
        assert [b64decode(one) for one in found["proof"]] == path_of(position, known)
    for old, new in ((1, 2), (255, 512), (256, 520), (519, 520), (520, 520), (7, None)):
        more = {} if new is None else {"new": new}
        found = nobody.get("/log/consistency", old=old, **more).body
        known = all_leaves[: new or 520]
        assert b64decode(found["old_root"]) == root_of(all_leaves[:old])
        assert b64decode(found["new_root"]) == root_of(known)
        assert [b64decode(one) for one in found["proof"]] == subproof_of(old, known)


def test_from_nothing_everything_grows_by_an_empty_proof(nobody: Api) -> None:
    append(3)
    for new in (0, 3):
        found = nobody.get("/log/consistency", old=0, new=new).body
        assert (found["proof"], b64decode(found["old_root"])) == ([], root_of([]))
        assert b64decode(found["new_root"]) == root_of(leaves()[:new])


@pytest.mark.parametrize(
    ("path", "query", "parameter"),
    [
        ("inclusion", {}, "position"),
        ("inclusion", {"position": 3}, "position"),
        ("inclusion", {"position": 2, "size": 2}, "position"),
        ("inclusion", {"position": 0, "size": 0}, "position"),
        ("inclusion", {"position": 0, "size": 4}, "size"),
        ("inclusion", {"position": "-1"}, "position"),
        ("inclusion", {"position": "01"}, "position"),
        ("inclusion", {"position": "+1"}, "position"),
        ("inclusion", {"position": "1.0"}, "position"),
        ("inclusion", {"position": "١"}, "position"),
        ("inclusion", {"position": ""}, "position"),
        ("inclusion", {"position": ["1", "1"]}, "position"),
        ("inclusion", {"position": 2**64 - 1}, "position"),
        ("consistency", {}, "old"),
        ("consistency", {"old": 4}, "old"),
        ("consistency", {"old": 2, "new": 1}, "old"),
        ("consistency", {"old": 1, "new": 4}, "new"),
        ("consistency", {"old": 0, "new": "3 "}, "new"),
    ],
)
def test_what_no_proof_can_be_of(
    nobody: Api, path: str, query: dict[str, Any], parameter: str
) -> None:
    append(3 - STATED)
    sign_checkpoint(NOW)
    append(5)
    answer = nobody.get(f"/log/{path}", **query)
    assert (answer.status, answer.code) == (400, "malformed")
    assert answer.body["parameter"] == parameter


def test_the_checkpoint_with_its_key(nobody: Api) -> None:
    append(2)
    shown = nobody.get("/log/checkpoint").body
    key = read_signer(settings.LOG_SIGNING_KEY).verifier
    assert (shown["origin"], shown["key"]) == (key.name, str(key))
    head, _ = open_checkpoint(shown["note"], key)
    assert (head.size, head.root) == (shown["size"], b64decode(shown["root"]))
    assert (head.size, head.root) == (2 + STATED, tip().root)
    assert shown["note"].encode() == get("checkpoint").content


def test_an_entry_that_is_gone_is_a_contradiction_and_not_a_fault_of_ours(nobody: Api) -> None:
    append(3)
    sign_checkpoint(NOW)
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_entry DISABLE TRIGGER ALL")
        cursor.execute("DELETE FROM ledger_entry WHERE position = 1")
        cursor.execute("ALTER TABLE ledger_entry ENABLE TRIGGER ALL")
    assert nobody.get("/log/inclusion", position=1).code == "log_contradicted"
    assert nobody.get("/log/consistency", old=2).code == "log_contradicted"
    assert hashes("0/000.p/3") is None

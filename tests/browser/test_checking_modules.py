"""The modules that check receipts in a browser, against the vectors that the server's own
checks are held to. Sources: `vectors/signed_notes.json` (golang/mod, transparency-dev, sunlight,
torchwood, C2SP), `vectors/merkle_rfc6962.json` (transparency-dev/merkle), `uuid7_ed25519.json`
(RFC 8032), `jcs_rfc8785.json` (RFC 8785)."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.conftest import Site, opening

from scalewitness.domain.translog.leaf import read_leaf

pytestmark = pytest.mark.one_in(3)

HERE = Path(__file__).parents[1] / "vectors"


def vectors(name: str) -> Any:
    return json.loads((HERE / name).read_text(encoding="utf-8"))


NOTES, MERKLE = vectors("signed_notes.json"), vectors("merkle_rfc6962.json")
ED25519, JCS = vectors("uuid7_ed25519.json")["ed25519"], vectors("jcs_rfc8785.json")

HELPERS = """
const { Refused, ...bytes } = await import("/static/shared/bytes.js");
const merkle = await import("/static/checking/merkle.js");
const keys = await import("/static/checking/keys.js");
const notes = await import("/static/checking/notes.js");
const ed25519 = await import("/static/checking/ed25519.js");
const entries = await import("/static/checking/entry.js");
const fromHex = (text) => Uint8Array.from(text.match(/../g) ?? [], (two) => parseInt(two, 16));
const from64 = (text) => Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
const refusal = async (work) => {
  try { return await work(); } catch (fault) {
    if (fault instanceof Refused) return { refused: fault.message };
    throw fault;
  }
};
"""


@pytest.fixture(scope="module")
def blank(chromium: Browser, site: Site) -> Iterator[Page]:
    """A page of the same origin without a script of its own."""
    with opening(chromium, site) as open_page:
        yield open_page("/about")


def each(page: Page, body: str, items: list[Any]) -> list[Any]:
    """What the JavaScript `body` returns for every `item`."""
    script = f"async (items) => {{ {HELPERS} const one = async (item) => {{ {body} }};"
    script += "const all = []; for (const item of items) all.push(await one(item)); return all; }"
    return list(page.evaluate(script, items))


def test_signed_notes(blank: Page) -> None:
    items = [
        {"vkeys": one["vkeys"], "hex": one.get("note_hex") or one["note"].encode().hex()}
        for one in NOTES["notes"]
    ]
    found = each(
        blank,
        """return refusal(async () => {
          const trusted = [];
          for (const text of item.vkeys) trusted.push(await keys.readVerifier(text));
          const opened = await notes.openNote(notes.readNote(fromHex(item.hex)), trusted);
          return {
            verified: opened.verified.map(({ key }) => keys.label(key)).sort(),
            unknown: opened.unknown.map((line) => keys.label(line)).sort(),
            unchecked: opened.unchecked.length,
            at: opened.verified.map(({ at }) => String(at)),
          };
        });""",
        items,
    )
    verdicts = []
    for item, result in zip(NOTES["notes"], found, strict=True):
        accepted = "refused" not in result
        verdicts.append(accepted)
        assert accepted is (item["expect"] == "accept"), (item["id"], result)
        if accepted:
            _same_lines(item, result)
    assert (verdicts.count(True), verdicts.count(False)) == (34, 20)


def _same_lines(item: dict[str, Any], result: dict[str, Any]) -> None:
    wanted = set(item["verified_keys"])
    if item["id"] == "cosig-mldsa44-computed-tessera-15":
        # No browser checks ML-DSA yet: the line is set apart, and not counted.
        assert result["unchecked"] == 1
        wanted = {one for one in wanted if "mldsa" not in one}
    assert set(result["verified"]) == wanted, item["id"]
    if "unknown_keys" in item:
        assert set(result["unknown"]) == set(item["unknown_keys"]), item["id"]
    if "cosignature_timestamp" in item and not result["unchecked"]:
        assert result["at"] == [str(item["cosignature_timestamp"])], item["id"]


def test_verifier_keys(blank: Page) -> None:
    good = [one["vkey"] for one in NOTES["vkeys_valid"]["items"]]
    bad = [one["vkey"] for one in NOTES["vkeys_invalid"]["items"]]
    body = "return refusal(async () => (await keys.readVerifier(item)).type);"
    types = [one["type"] for one in NOTES["vkeys_valid"]["items"]]
    assert each(blank, body, good) == types
    assert all("refused" in one for one in each(blank, body, bad))


def test_checkpoint_bodies(blank: Page) -> None:
    items = NOTES["checkpoint_bodies"]["items"]
    body = "return refusal(async () => String((await notes.readBody(item)).size));"
    for item, result in zip(items, each(blank, body, [one["body"] for one in items]), strict=True):
        assert isinstance(result, str) is (item["expect"] == "accept"), (item["why"], result)


def as_text(probe: dict[str, Any], *names: str) -> dict[str, Any]:
    """64-bit numbers travel to the browser as text."""
    return {**probe, **{name: str(probe[name]) for name in names}}


def test_inclusion_probes(blank: Page) -> None:
    probes = MERKLE["reference_probes"]["inclusion"]
    found = each(
        blank,
        """return merkle.verifyInclusion({
          leaf: from64(item.leaf_hash_b64), index: BigInt(item.leaf_index),
          size: BigInt(item.tree_size), proof: item.proof_b64.map(from64),
          root: from64(item.root_b64) });""",
        [as_text(one, "leaf_index", "tree_size") for one in probes],
    )
    assert found == [one["valid"] for one in probes]
    assert (len(found), found.count(True)) == (98, 6)


def test_consistency_probes(blank: Page) -> None:
    probes = MERKLE["reference_probes"]["consistency"]
    found = each(
        blank,
        """return merkle.verifyConsistency({
          size1: BigInt(item.size1), root1: from64(item.root1_b64),
          size2: BigInt(item.size2), root2: from64(item.root2_b64),
          proof: item.proof_b64.map(from64) });""",
        [as_text(one, "size1", "size2") for one in probes],
    )
    # Its "roots" are twelve bytes of text; a hash here has 32 bytes, always.
    stricter = "consistency/additional/sizes-are-equal-one-and-proof-is-empty.json"
    assert found == [one["valid"] and one["name"] != stricter for one in probes]


def test_recorded_proofs_over_large_trees(blank: Page) -> None:
    large = MERKLE["synthetic_large"]
    found = each(
        blank,
        """return merkle.verifyInclusion({
          leaf: await merkle.leafHash(bytes.bytesOf(`leaf-${item.leaf_index}`)),
          index: BigInt(item.leaf_index), size: BigInt(item.tree_size),
          proof: item.proof.map(fromHex), root: fromHex(item.root) });""",
        [one | {"root": large["roots"][str(one["tree_size"])]} for one in large["inclusion"]],
    )
    assert found
    assert all(found)


def test_ed25519(blank: Page) -> None:
    body = """return ed25519.verifies(
        fromHex(item.public_key), fromHex(item.message), fromHex(item.signature));"""
    assert each(blank, body, ED25519["items"]) == [True] * len(ED25519["items"])
    assert each(blank, body, ED25519["must_refuse"]) == [False] * len(ED25519["must_refuse"])


def test_canonical_form(blank: Page) -> None:
    """RFC 8785's outputs are their own canonical form, except where numbers are not whole or
    text is not in NFC (as U+FB33 never is): those an entry may not hold at all."""
    body = """return refusal(() => entries.strictly(JSON.parse(item), 32) === item);"""
    found = each(blank, body, [one["output_utf8"] for one in JCS["files"]])
    refused = {
        one["name"] for one, said in zip(JCS["files"], found, strict=True) if said is not True
    }
    assert refused == {"unicode", "values", "weird"}


GOOD = (
    b'{"about":null,"at":"2026-11-25T10:00:00.000Z","body":{"a":1},"by":null,"device":null,'
    b'"id":"x","kind":"k","sig":null,"v":1}'
)
STAMPED = GOOD.replace(b'"id"', b'"flags":["late"],"id"').replace(
    b'"sig":null,"v":1', b'"received":"2026-11-25T10:00:01.000250Z","sig":null,"v":2'
)
ENTRIES = [
    GOOD,
    STAMPED,
    STAMPED.replace(b'["late"]', b"[]"),
    STAMPED.replace(b'"v":2', b'"v":1'),
    STAMPED.replace(b'["late"]', b"null"),
    STAMPED.replace(b'["late"]', b"[1]"),
    STAMPED.replace(b".000250Z", b".000Z"),
    STAMPED.replace(b'"2026-11-25T10:00:01.000250Z"', b"null"),
    GOOD.replace(b'{"a":1}', '{"z":[{}],"ä€😀":"ö"}'.encode()),
    GOOD.replace(b'{"a":1}', b'{"__proto__":1,"constructor":"x"}'),
    GOOD.replace(b'{"a":1}', b'{"a":9007199254740991}'),
    b"\xef\xbb\xbf" + GOOD,
    GOOD + b"\n",
    GOOD.replace(b'"v":1', b'"v":2'),
    GOOD.replace(b'"v":1', b'"v":1,"w":1'),
    GOOD.replace(b',"v":1', b""),
    GOOD.replace(b'"by":null', b'"by":1'),
    GOOD.replace(b'{"a":1}', b"[1]"),
    GOOD.replace(b'{"a":1}', b'{"a":1,"a":1}'),
    GOOD.replace(b'{"a":1}', b'{"b":1,"a":1}'),
    GOOD.replace(b'{"a":1}', b'{"a":1.0}'),
    GOOD.replace(b'{"a":1}', b'{"a":0.5}'),
    GOOD.replace(b'{"a":1}', b'{"a":-0}'),
    GOOD.replace(b'{"a":1}', b'{"a":9007199254740992}'),
    GOOD.replace(b'{"a":1}', b'{"a":"\\ud800"}'),
    GOOD.replace(b'{"a":1}', '{"a":"e\u0301"}'.encode()),
    GOOD.replace(b'{"a":1}', b'{"a":"\\u0041"}'),
    GOOD.replace(b'{"a":1}', b'{"a":' + b"[" * 30 + b"]" * 30 + b"}"),
    GOOD.replace(b'{"a":1}', b'{"a":' + b"[" * 31 + b"]" * 31 + b"}"),
    GOOD.replace(b'{"a":1}', b'{"a":"' + b"x" * 65_535 + b'"}'),
    GOOD[:-1],
    b"not JSON",
    b"\xff",
    b"null",
]


def test_entries_are_read_as_the_domain_reads_them(blank: Page) -> None:
    def reads(entry: bytes) -> bool:
        try:
            read_leaf(entry)
        except ValueError:
            return False
        return True

    body = "return refusal(() => Boolean(entries.readEntry(fromHex(item))));"
    found = each(blank, body, [one.hex() for one in ENTRIES])
    assert [one is True for one in found] == [reads(one) for one in ENTRIES]
    assert [one is True for one in found].count(True) == 7

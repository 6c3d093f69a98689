"""Canonical JSON against RFC 8785 and the cyberphone/json-canonicalization files.

The million-line number corpus of that repository is not run: its generator is only
described in words there, and our own form refuses floats anyway.
"""

import contextlib
import json
import math
import struct
import unicodedata
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.translog.canonical import (
    MAX_DEPTH,
    MAX_INTEGER,
    BadJson,
    NotCanonical,
    canonical_bytes,
    parse_strict,
)

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "jcs_rfc8785.json").read_text(encoding="utf-8")
)
FILES = {item["name"]: item for item in VECTORS["files"]}
WITH_FLOATS = {"structures": "/1/\n", "values": "/numbers/0"}
NOT_NFC = {"unicode", "weird"}


def read(text: str) -> Any:
    return parse_strict(text.encode(), 10_000)


def refused(value: object) -> NotCanonical:
    with pytest.raises(NotCanonical) as caught:
        canonical_bytes(value)
    return caught.value


def unreadable(data: bytes, max_bytes: int = 10_000) -> BadJson:
    with pytest.raises(BadJson) as caught:
        parse_strict(data, max_bytes)
    return caught.value


# --- the published files


@pytest.mark.parametrize("name", sorted(FILES.keys() - WITH_FLOATS.keys() - NOT_NFC))
def test_published_files(name: str) -> None:
    written = canonical_bytes(read(FILES[name]["input_utf8"]))
    assert written == FILES[name]["output_utf8"].encode()
    assert sha256(written).hexdigest() == FILES[name]["output_sha256"]


@pytest.mark.parametrize("name", sorted(FILES))
def test_published_files_through_the_library_alone(name: str) -> None:
    written = rfc8785.dumps(read(FILES[name]["input_utf8"]))
    assert sha256(written).hexdigest() == FILES[name]["output_sha256"]


def test_every_published_file_is_covered() -> None:
    assert {"arrays", "french", "structures", "unicode", "values", "weird"} == FILES.keys()


@pytest.mark.parametrize(("name", "pointer"), sorted(WITH_FLOATS.items()))
def test_our_guard_refuses_the_published_files_with_floats(name: str, pointer: str) -> None:
    # 56.0 and 333333333.33333329; JCS itself takes both.
    assert refused(read(FILES[name]["input_utf8"])).pointer == pointer


@pytest.mark.parametrize("name", sorted(NOT_NFC))
def test_our_guard_normalises_where_jcs_does_not(name: str) -> None:
    # "unicode" spells Å with a combining ring; "weird" has U+FB33, which NFC takes apart.
    written = canonical_bytes(read(FILES[name]["input_utf8"]))
    assert written != FILES[name]["output_utf8"].encode()
    normalised = json.loads(unicodedata.normalize("NFC", FILES[name]["output_utf8"]))
    assert written == rfc8785.dumps(normalised)


def test_members_sort_by_utf16_units_in_the_rfc_example() -> None:
    # RFC 8785 section 3.2.3. U+FB33 decomposes to U+05D3 U+05BC under NFC and so moves
    # before the euro sign; in UTF-16 an emoji (D83D…) precedes U+FB33 but not U+05D3.
    example = VECTORS["rfc_sorting_example"]
    value = read(example["input_utf8"])
    assert list(json.loads(rfc8785.dumps(value)).values()) == example["expected_value_order"]
    assert rfc8785.dumps(value) == example["output_utf8"].encode()
    moved = [name for name in example["expected_value_order"] if not name.startswith("Hebrew")]
    moved.insert(4, "Hebrew Letter Dalet With Dagesh")
    assert list(json.loads(canonical_bytes(value)).values()) == moved


def test_surrogate_pairs_sort_before_the_private_use_area() -> None:
    # Code-point order would put U+E000 first; RFC 8785 section 3.2.3 sorts UTF-16 units.
    assert canonical_bytes({"\ue000": 1, "\U0001f600": 2}) == '{"\U0001f600":2,"\ue000":1}'.encode()


def test_the_rfc_example_of_section_3_2() -> None:
    example = VECTORS["rfc_example"]
    value = read(example["input_utf8"])
    assert rfc8785.dumps(value).hex() == example["output_hex"]
    del value["numbers"]
    assert canonical_bytes(value) == (
        b'{"literals":[null,true,false],"string":"\xe2\x82\xac$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


@pytest.mark.parametrize(
    "item", VECTORS["numbers_appendix_b"]["items"] + VECTORS["numbers_samples"]["items"]
)
def test_doubles_of_appendix_b(item: dict[str, Any]) -> None:
    (double,) = struct.unpack(">d", bytes.fromhex(item["ieee754_hex"].zfill(16)))
    if item["expected"] is None:
        with pytest.raises(rfc8785.FloatDomainError):
            rfc8785.dumps(double)
    else:
        assert rfc8785.dumps(double).decode() == item["expected"]
    assert "decimal string" in refused({"depth": double}).detail


def test_normalisation_makes_equal_what_jcs_keeps_apart() -> None:
    composed, decomposed = "\u00e9", "e\u0301"
    recorded = VECTORS["not_normalised"]
    # The recorded hashes are of {"n": text}.
    pair = ({"n": composed}, {"n": decomposed})
    digests = [sha256(rfc8785.dumps(value)).hexdigest() for value in pair]
    assert digests == [recorded["hash_of_composed"], recorded["hash_of_decomposed"]]
    assert canonical_bytes(decomposed) == canonical_bytes(composed) == rfc8785.dumps(composed)


# --- what the guard refuses (the vector file's must_refuse_or_guard, and ours)


@pytest.mark.parametrize(
    ("value", "pointer"),
    [
        (2**53, ""),
        ({"n": -(2**53)}, "/n"),
        ([0, math.nan], "/1"),
        ([math.inf], "/0"),
        ({"a": [{"b": 1.0}]}, "/a/0/b"),
        ({"name": "\udead"}, "/name"),
        ({"a": {"\udead": 1}}, "/a"),
        ({"a": {1: "one"}}, "/a"),
        ({"a": {None: "none"}}, "/a"),
        ({"price": Decimal("1.10")}, "/price"),
        ({"raw": b"bytes"}, "/raw"),
        ({"set": {1}}, "/set"),
        ({"a/b": {"~": 0.5}}, "/a~1b/~0"),
        (object(), ""),
    ],
)
def test_refused_with_a_pointer(value: object, pointer: str) -> None:
    assert refused(value).pointer == pointer


def test_names_that_normalisation_makes_equal_are_refused() -> None:
    fault = refused({"body": {"\u00e9": 1, "e\u0301": 2}})
    assert fault.pointer == "/body"
    assert "once normalised" in str(fault)


def test_integers_at_the_edge_pass() -> None:
    assert canonical_bytes([MAX_INTEGER, -MAX_INTEGER, 0]) == (
        b"[9007199254740991,-9007199254740991,0]"
    )


def test_mappings_and_tuples_count_as_objects_and_arrays() -> None:
    assert canonical_bytes(MappingProxyType({"b": (1, True), "a": None})) == (
        b'{"a":null,"b":[1,true]}'
    )


def nested(depth: int) -> object:
    value: object = "deep"
    for level in range(depth):
        value = [value] if level % 2 else {"in": value}
    return value


def test_depth_is_limited_when_writing() -> None:
    assert canonical_bytes(nested(MAX_DEPTH)).count(b"[") == MAX_DEPTH // 2
    assert "deeper than 32" in refused(nested(MAX_DEPTH + 1)).detail
    assert "deeper than 32" in refused(nested(5_000)).detail


# --- reading


@pytest.mark.parametrize(
    ("data", "pointer"),
    [
        (b'{"a":1,"a":1}', ""),
        (b'{"x":[{"a":1,"b":2,"a":3}]}', "/x/0"),
        (b'{"x":{"a":1,"\\u0061":2}}', "/x"),
        (b"[NaN]", "/0"),
        (b"[1,-Infinity]", "/1"),
        (b'{"big":1e999}', "/big"),
        (b'{"s":"\\udead"}', "/s"),
        (b'{"s":["\\uD83D"]}', "/s/0"),
        (b'{"\\udead":1}', ""),
    ],
)
def test_what_json_readers_disagree_on_is_refused_with_a_pointer(data: bytes, pointer: str) -> None:
    json.loads(data)  # a lenient reader takes every one of these
    assert unreadable(data).pointer == pointer


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b" ",
        b'{"a":1} x',
        b"{}{}",
        b"[1,]",
        b"{'a':1}",
        b'{"a":01}',
        b'"tab\there"',
        b'{"a":',
        b"\xef\xbb\xbf{}",
        b'"\xff"',
        b'"\xed\xa0\x80"',
        b'"\xc0\x80"',
        '"sixteen"'.encode("utf-16"),
        b"1" * 5_000,
        b"nul",
    ],
)
def test_what_is_not_json_in_utf8_is_refused(data: bytes) -> None:
    assert unreadable(data).pointer == ""


def test_size_is_limited_in_bytes() -> None:
    data = '"é"'.encode()
    assert parse_strict(data, 4) == "é"
    assert "4 bytes" in unreadable(data, 3).detail


@pytest.mark.parametrize("opening", [b"[", b'{"a":'])
def test_depth_is_limited_when_reading(opening: bytes) -> None:
    closing = b"]" if opening == b"[" else b"}"
    parse_strict(opening * MAX_DEPTH + b"1" + closing * MAX_DEPTH, 10_000)
    for depth in (MAX_DEPTH + 1, 900, 100_000):
        data = opening * depth + b"1" + closing * depth
        assert "deeper than 32" in unreadable(data, 10**6).detail


def test_brackets_in_strings_neither_add_nor_hide_depth() -> None:
    flat = json.dumps(["[" * 50, '\\"' + "{" * 50, "\\" * 3, "]" * 7]).encode()
    assert parse_strict(flat, 1_000) == json.loads(flat)
    masked = b'["]",' * 40 + b"1" + b',"["]' * 40
    assert len(json.loads(masked)) == 3
    assert "deeper than 32" in unreadable(masked).detail


def test_width_is_not_depth() -> None:
    wide = [{"a": [index]} for index in range(500)]
    assert parse_strict(json.dumps(wide).encode(), 10**5) == wide


def test_escaped_pairs_are_characters_not_lone_surrogates() -> None:
    assert parse_strict(b'{"s":["\\ud83d\\ude02",{"n":1.5}]}', 100) == {
        "s": ["\U0001f602", {"n": 1.5}]
    }


def test_a_fault_says_what_and_where() -> None:
    assert str(unreadable(b'{"x":[NaN]}')) == (
        "NaN, Infinity and numbers beyond a double are not JSON (at /x/0)"
    )
    assert str(unreadable(b"[1,]")).startswith("not JSON, line 1 column")


# --- properties

texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
names = texts.map(lambda text: unicodedata.normalize("NFC", text))
values = st.recursive(
    st.none() | st.booleans() | st.integers(-MAX_INTEGER, MAX_INTEGER) | texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=20,
)


@given(values)
def test_writing_reading_and_writing_again_changes_nothing(value: object) -> None:
    written = canonical_bytes(value)
    assert canonical_bytes(parse_strict(written, 10**6)) == written


@given(values)
def test_whatever_json_spelling_arrives_the_bytes_are_the_same(value: object) -> None:
    spelled = json.dumps(value, indent=2, ensure_ascii=True).encode()
    assert canonical_bytes(parse_strict(spelled, 10**6)) == canonical_bytes(value)


ascii_texts = st.text(st.characters(max_codepoint=127), max_size=12)
plain_values = st.recursive(
    st.none() | st.booleans() | st.integers(-MAX_INTEGER, MAX_INTEGER) | ascii_texts,
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.lists(inner, max_size=4).map(tuple)
        | st.dictionaries(ascii_texts, inner, max_size=6)
    ),
    max_leaves=20,
)


@given(plain_values)
def test_the_quick_way_writes_what_the_library_writes(value: Any) -> None:
    assert canonical_bytes(value) == rfc8785.dumps(value)


def test_the_quick_way_writes_every_ascii_character_as_the_library_does() -> None:
    every = "".join(map(chr, range(128)))
    assert canonical_bytes({every: every}) == rfc8785.dumps({every: every})


@pytest.mark.parametrize("name", [1, None, True, b"x"])
def test_the_quick_way_lets_no_name_through_that_is_not_text(name: object) -> None:
    assert "is not a string" in str(refused({name: "x"}))


@given(st.dictionaries(names, st.integers(0, 9), max_size=8))
def test_member_order_does_not_matter(members: dict[str, int]) -> None:
    backwards = dict(reversed(members.items()))
    assert canonical_bytes(backwards) == canonical_bytes(members)


@given(
    st.binary(max_size=40)
    | st.text(alphabet='[]{}",:\\\\u\ud8e01.-NIan ', max_size=40).map(
        lambda text: text.encode(errors="surrogatepass")
    )
)
def test_arbitrary_bytes_are_read_or_refused_never_worse(data: bytes) -> None:
    # Any other exception, from reading or from writing what was read, fails the test.
    with contextlib.suppress(BadJson, NotCanonical):
        canonical_bytes(parse_strict(data, 40))

"""Transponder codes against recorded reader output and open FDX-B decoders."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.identifiers import (
    MAX_NATIONAL,
    crc16_kermit,
    decode_frame,
    decode_word,
    parse_tag,
    parse_transponder,
)

VECTORS = json.loads(
    (Path(__file__).parents[1] / "vectors" / "iso11784.json").read_text(encoding="utf-8")
)
EXAMPLES = VECTORS["examples"]
FRAME = next(item for item in EXAMPLES if "frame_bits_header_first" in item)
FRAME_BITS = FRAME["frame_bits_header_first"]
REASONS = {
    "276012345678": "15 digits, not 12",
    "999274877906944": "go up to 274877906943",
    "999999999999999": "go up to 274877906943",
    "27601234567890A": "digits only",
    "000000000000000": "code 000",
}


def by_name(item: dict[str, Any]) -> str:
    return str(item["name"])


# --- typed codes


@pytest.mark.parametrize("item", EXAMPLES, ids=by_name)
def test_typed_codes_are_read(item: dict[str, Any]) -> None:
    code = parse_transponder(item["display"])
    assert (code.code, code.country, code.national) == (
        item["display"],
        item["country"],
        item["national"],
    )
    assert code.is_test is (item["country"] == 999)
    assert code.is_manufacturer is (900 <= item["country"] <= 998)


@pytest.mark.parametrize("item", VECTORS["invalid_text"], ids=lambda item: item["why"])
def test_impossible_codes_are_refused_with_the_reason(item: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match=REASONS[item["text"]]):
        parse_transponder(item["text"])


@pytest.mark.parametrize(
    "text",
    [
        "276 0012 3456 7890",
        "276.001.234.567.890",
        "276-001234567890",
        "  276001234567890\n",
        "276\u00a0001234567890",
        "276\u2011001\u2013234567890",
    ],
)
def test_grouping_is_ignored(text: str) -> None:
    assert parse_transponder(text).code == "276001234567890"


@pytest.mark.parametrize(
    "text",
    ["", " - ", "٢٧٦٠٠١٢٣٤٥٦٧٨٩٠", "276001234567890²", "+276001234567890", "276_001234567890"],
)
def test_only_ascii_digits_count(text: str) -> None:
    with pytest.raises(ValueError, match="digits"):
        parse_transponder(text)


@pytest.mark.parametrize(
    ("country", "is_manufacturer", "is_test"),
    [
        (1, False, False),
        (899, False, False),
        (900, True, False),
        (998, True, False),
        (999, False, True),
    ],
)
def test_the_ranges_of_the_first_three_digits(
    country: int, is_manufacturer: bool, is_test: bool
) -> None:
    code = parse_transponder(f"{country:03d}000000000001")
    assert (code.is_manufacturer, code.is_test) == (is_manufacturer, is_test)


@given(st.integers(1, 999), st.integers(0, MAX_NATIONAL))
def test_leading_zeros_are_kept(country: int, national: int) -> None:
    text = f"{country:03d}{national:012d}"
    code = parse_transponder(text)
    assert (code.code, code.country, code.national) == (text, country, national)


# --- reader output


def test_the_checksum_of_the_catalogue() -> None:
    # CRC catalogue check value of CRC-16/KERMIT.
    assert crc16_kermit(b"123456789") == int(VECTORS["crc16"]["check_123456789"], 16) == 0x2189
    assert crc16_kermit(b"") == 0


@pytest.mark.parametrize("item", EXAMPLES, ids=by_name)
def test_code_words_are_decoded_field_by_field(item: dict[str, Any]) -> None:
    crc = int(item["crc16_value_hex"], 16)
    assert crc16_kermit(bytes.fromhex(item["bytes_little_endian_hex"])) == crc
    word = decode_word(item["word64_hex"], crc)
    assert word.transponder == parse_transponder(item["display"])
    assert (word.animal, word.rudi, word.data_block) == (
        bool(item["animal"]),
        bool(item["rudi"]),
        bool(item["data_block"]),
    )
    assert (word.reserved, word.user, word.retag) == (
        item["reserved"],
        item["user_info"],
        item["replacement"],
    )
    assert decode_word(item["word64_hex"].upper()) == word


@given(
    country=st.integers(1, 999),
    national=st.integers(0, MAX_NATIONAL),
    animal=st.booleans(),
    retag=st.integers(0, 7),
    user=st.integers(0, 31),
    reserved=st.integers(0, 31),
    rudi=st.booleans(),
    data_block=st.booleans(),
)
def test_every_field_stands_at_its_iso_bits(**fields: Any) -> None:
    # Bits as the vector file lists them: 1 | 2-4 | 5-9 | 10-14 | 15 | 16 | 17-26 | 27-64.
    bits = (
        f"{fields['animal']:b}{fields['retag']:03b}{fields['user']:05b}{fields['reserved']:05b}"
        f"{fields['rudi']:b}{fields['data_block']:b}{fields['country']:010b}{fields['national']:038b}"
    )
    assert len(bits) == 64
    word = decode_word(f"{int(bits, 2):016x}")
    assert (word.transponder.country, word.transponder.national) == (
        fields["country"],
        fields["national"],
    )
    for name in ("animal", "retag", "user", "reserved", "rudi", "data_block"):
        assert getattr(word, name) == fields[name]


@given(st.sampled_from(EXAMPLES), st.integers(0, 63))
def test_any_flipped_bit_breaks_the_checksum(item: dict[str, Any], bit: int) -> None:
    word = int(item["word64_hex"], 16) ^ (1 << bit)
    with pytest.raises(ValueError, match="checksum"):
        decode_word(f"{word:016x}", int(item["crc16_value_hex"], 16))


@pytest.mark.parametrize(
    ("hex64", "reason"),
    [
        ("", "16 hex digits"),
        ("8000f65a143841c", "16 hex digits"),
        ("8000f65a143841c8\n", "16 hex digits"),
        ("0x00f65a143841c8", "16 hex digits"),
        ("8000000000000001", "code 000"),
        ("8000fa0000000001", "1000 is no country"),
        ("8000ffc000000001", "1023 is no country"),
    ],
)
def test_impossible_words_are_refused(hex64: str, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        decode_word(hex64)


def test_a_recorded_frame_is_decoded() -> None:
    # flipperdevices/flipperzero-firmware unit test, line timings turned into bits.
    assert decode_frame(FRAME_BITS) == decode_word(FRAME["word64_hex"])
    assert decode_frame(FRAME_BITS).transponder.code == "985113007399202"


TRAILER_STARTS = 11 + 10 * 9


@pytest.mark.parametrize("position", range(128))
def test_a_flipped_bit_of_the_frame_is_noticed_unless_it_is_trailer_data(position: int) -> None:
    turned = "1" if FRAME_BITS[position] == "0" else "0"
    broken = FRAME_BITS[:position] + turned + FRAME_BITS[position + 1 :]
    is_control = position >= 11 and (position - 11) % 9 == 8
    if position >= TRAILER_STARTS and not is_control:
        assert decode_frame(broken) == decode_frame(FRAME_BITS)
    else:
        with pytest.raises(ValueError, match=r"header|control bit|checksum"):
            decode_frame(broken)


@pytest.mark.parametrize("bits", ["", FRAME_BITS[:-1], FRAME_BITS + "0", FRAME_BITS[:-1] + "2"])
def test_a_frame_has_128_bits(bits: str) -> None:
    with pytest.raises(ValueError, match="128 bits"):
        decode_frame(bits)


# --- tags and photo ids


@pytest.mark.parametrize(
    ("text", "tag"),
    [
        ("A-17", "A-17"),
        ("  rack 3 / 12\t", "rack 3 / 12"),
        ("cafe\u0301", "caf\u00e9"),
        ("№ 5", "№ 5"),
        ("x" * 40, "x" * 40),
        ("e\u0301" * 40, "\u00e9" * 40),
    ],
)
def test_tags_are_trimmed_and_normalised(text: str, tag: str) -> None:
    assert parse_tag(text) == tag


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "empty"),
        (" \u00a0\n", "empty"),
        ("x" * 41, "at most 40"),
        ("A\u200b1", "cannot be seen"),
        ("A\u202e1", "cannot be seen"),
        ("A\n1", "cannot be seen"),
        ("A\u00a01", "cannot be seen"),
        ("\x00", "cannot be seen"),
        ("\udead", "cannot be seen"),
    ],
)
def test_tags_that_would_mislead_are_refused(text: str, reason: str) -> None:
    with pytest.raises(ValueError, match=reason):
        parse_tag(text)


@given(st.text(max_size=60))
def test_a_tag_once_kept_is_kept_as_it_is(text: str) -> None:
    try:
        tag = parse_tag(text)
    except ValueError:
        return
    assert parse_tag(tag) == tag
    assert 1 <= len(tag) <= 40

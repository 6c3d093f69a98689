"""Transponder codes against those recorded readers and open decoders show; tags."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.identifiers import (
    MAX_NATIONAL,
    parse_tag,
    parse_transponder,
)

VECTORS = json.loads(
    (Path(__file__).parents[1] / "vectors" / "iso11784.json").read_text(encoding="utf-8")
)
EXAMPLES = VECTORS["examples"]
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

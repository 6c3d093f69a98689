"""UUIDv7 against the example and layout of RFC 9562."""

import json
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.ids import is_uuid7, parse_uuid7, unix_ms, uuid7

VECTORS = json.loads(
    (Path(__file__).parents[1] / "vectors" / "uuid7_ed25519.json").read_text(encoding="utf-8")
)["uuid7"]
EXAMPLE = VECTORS["rfc_example"]
times = st.integers(0, 2**48 - 1)
entropies = st.binary(min_size=10, max_size=10)


def test_the_rfc_example_is_built_from_its_fields() -> None:
    entropy = bytes.fromhex("0" + EXAMPLE["rand_a_hex"] + EXAMPLE["rand_b_hex"])
    built = uuid7(EXAMPLE["unix_ts_ms"], entropy)
    assert built.bytes.hex() == EXAMPLE["bytes_hex"]
    assert str(built) == EXAMPLE["uuid"].lower()


def test_the_rfc_example_is_read() -> None:
    parsed = parse_uuid7(EXAMPLE["uuid"].lower())
    assert parsed == UUID(EXAMPLE["uuid"])
    assert unix_ms(parsed) == EXAMPLE["unix_ts_ms"] == int(EXAMPLE["unix_ts_ms_hex"], 16)


def test_the_computed_extremes() -> None:
    zero, maximum, later = (item["uuid"] for item in VECTORS["computed"])
    assert str(uuid7(0, bytes(10))) == zero
    assert str(uuid7(2**48 - 1, b"\xff" * 10)) == maximum
    assert str(uuid7(EXAMPLE["unix_ts_ms"] + 1, bytes(10))) == later
    assert all(map(is_uuid7, (zero, maximum, later)))


def test_text_bytes_and_integers_sort_alike() -> None:
    texts = VECTORS["sorted_ascending"]
    parsed = [parse_uuid7(text) for text in texts]
    assert sorted(texts) == texts
    assert sorted(parsed) == parsed
    assert sorted(parsed, key=lambda value: value.bytes) == parsed


@pytest.mark.parametrize("item", VECTORS["invalid_as_v7"], ids=lambda item: item["why"])
def test_other_versions_and_variants_are_refused(item: dict[str, Any]) -> None:
    assert not is_uuid7(item["uuid"])
    reason = "version 4" if "version" in item["why"] else "variant"
    with pytest.raises(ValueError, match=reason):
        parse_uuid7(item["uuid"])
    with pytest.raises(ValueError, match=reason):
        unix_ms(UUID(item["uuid"]))


@pytest.mark.parametrize(
    "text",
    [
        EXAMPLE["uuid"],
        EXAMPLE["bytes_hex"],
        "{017f22e2-79b0-7cc3-98c4-dc0c0c07398f}",
        "urn:uuid:017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398f\n",
        " 017f22e2-79b0-7cc3-98c4-dc0c0c07398f",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398",
        "017f22e2-79b0-7cc3-98c4-dc0c0c07398g",
        "٠17f22e2-79b0-7cc3-98c4-dc0c0c07398f",
        "",
    ],
)
def test_one_spelling_only(text: str) -> None:
    assert not is_uuid7(text)
    with pytest.raises(ValueError, match="lower case with hyphens"):
        parse_uuid7(text)


@pytest.mark.parametrize("time", [-1, 2**48])
def test_a_time_beyond_48_bits_is_refused(time: int) -> None:
    with pytest.raises(ValueError, match="48 bits"):
        uuid7(time, bytes(10))


@pytest.mark.parametrize("length", [0, 9, 11, 16])
def test_ten_random_bytes_are_needed(length: int) -> None:
    with pytest.raises(ValueError, match="10 random bytes"):
        uuid7(0, bytes(length))


@given(times, entropies)
def test_what_is_built_reads_back(time: int, entropy: bytes) -> None:
    built = uuid7(time, entropy)
    assert is_uuid7(str(built))
    assert parse_uuid7(str(built)) == built
    assert unix_ms(built) == time
    assert (built.version, built.variant) == (7, "specified in RFC 4122")


@given(times, entropies, entropies)
def test_all_74_random_bits_are_kept(time: int, first: bytes, second: bytes) -> None:
    def kept(entropy: bytes) -> int:
        return int.from_bytes(entropy, "big") & ~(0xF << 76) & ~(0b11 << 62)

    assert (uuid7(time, first) == uuid7(time, second)) is (kept(first) == kept(second))

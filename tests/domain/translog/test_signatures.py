"""Ed25519 against RFC 8032 section 7.1, and what must be refused."""

import json
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

from scalewitness.domain.translog.signatures import is_public_key, verify_ed25519

VECTORS = json.loads(
    (Path(__file__).parents[2] / "vectors" / "uuid7_ed25519.json").read_text(encoding="utf-8")
)["ed25519"]
PRIME = 2**255 - 19
D = -121665 * pow(121666, -1, PRIME) % PRIME
ROOT_OF_MINUS_1 = pow(2, (PRIME - 1) // 4, PRIME)

Point = tuple[int, int]


def unhex(item: dict[str, Any]) -> tuple[bytes, bytes, bytes]:
    return tuple(bytes.fromhex(item[part]) for part in ("public_key", "message", "signature"))  # type: ignore[return-value]


@pytest.mark.parametrize("item", VECTORS["items"], ids=lambda item: item["name"])
def test_published_signatures_verify(item: dict[str, Any]) -> None:
    key, message, signature = unhex(item)
    seed = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(item["secret_seed"]))
    assert seed.public_key().public_bytes_raw() == key
    assert seed.sign(message) == signature
    assert verify_ed25519(key, message, signature)


@pytest.mark.parametrize("item", VECTORS["must_refuse"], ids=lambda item: item["what"])
def test_published_forgeries_do_not(item: dict[str, Any]) -> None:
    assert not verify_ed25519(*unhex(item))


def test_the_vectors_are_all_here() -> None:
    assert (len(VECTORS["items"]), len(VECTORS["must_refuse"])) == (3, 4)


def test_every_flipped_bit_is_noticed() -> None:
    key, message, signature = unhex(VECTORS["items"][2])
    for bit in range(512):
        number = int.from_bytes(signature, "little") ^ (1 << bit)
        assert not verify_ed25519(key, message, number.to_bytes(64, "little"))


@pytest.mark.parametrize("cut", [slice(0, -1), slice(1, None), slice(0, 0)])
def test_other_lengths_are_false_not_an_error(cut: slice) -> None:
    key, message, signature = unhex(VECTORS["items"][1])
    assert not verify_ed25519(key[cut], message, signature)
    assert not verify_ed25519(key, message, signature[cut])
    assert not verify_ed25519(key + b"\x00", message, signature)
    assert not verify_ed25519(key, message, signature + b"\x00")


# --- keys that bind nobody


def add(first: Point, second: Point) -> Point:
    """The addition law of RFC 8032 section 5.1.4, in affine coordinates."""
    (x1, y1), (x2, y2) = first, second
    product = D * x1 * x2 * y1 * y2 % PRIME
    x = (x1 * y2 + x2 * y1) * pow(1 + product, -1, PRIME) % PRIME
    y = (y1 * y2 + x1 * x2) * pow(1 - product, -1, PRIME) % PRIME
    return x, y


def square_root(square: int) -> int | None:
    root = pow(square, (PRIME + 3) // 8, PRIME)
    for candidate in (root, root * ROOT_OF_MINUS_1 % PRIME):
        if candidate * candidate % PRIME == square % PRIME:
            return candidate
    return None


def point_with(y: int) -> Point | None:
    x = square_root((y * y - 1) * pow(D * y * y + 1, -1, PRIME) % PRIME)
    return None if x is None else (x, y)


def times_8(point: Point) -> Point:
    for _ in range(3):
        point = add(point, point)
    return point


def encoded(point: Point) -> bytes:
    x, y = point
    return (y | (x & 1) << 255).to_bytes(32, "little")


def order_8_point() -> Point:
    """Eight times too small: clear a random point of everything but its order-8 part."""
    order = 2**252 + 27742317777372353535851937790883648493
    for y in range(2, 200):
        point = point_with(y)
        if point is None:
            continue
        small, power, rest = (0, 1), point, order
        while rest:
            small = add(small, power) if rest & 1 else small
            power, rest = add(power, power), rest >> 1
        doubled = add(small, small)
        if add(doubled, doubled) != (0, 1):
            return small
    raise AssertionError("no point of order 8 among the first 200")


def test_all_eight_points_of_small_order_are_refused_as_keys() -> None:
    generator, point, seen = order_8_point(), (0, 1), set()
    for _ in range(8):
        assert times_8(point) == (0, 1)
        seen.add(encoded(point))
        assert not is_public_key(encoded(point))
        point = add(point, generator)
    assert len(seen) == 8


def test_a_small_order_key_would_let_anyone_sign_anything() -> None:
    # The identity as key and as R with S = 0 satisfies S·B = R + k·A for every message.
    identity = encoded((0, 1))
    signature = identity + bytes(32)
    Ed25519PublicKey.from_public_bytes(identity).verify(signature, b"any message at all")
    assert not verify_ed25519(identity, b"any message at all", signature)


def test_a_second_spelling_of_a_key_is_refused() -> None:
    # RFC 8032 section 5.1.3: decoding fails where y is not below p.
    for y in (PRIME, PRIME + 1, PRIME + 18):
        assert not is_public_key(y.to_bytes(32, "little"))


def test_ordinary_keys_are_accepted() -> None:
    for item in VECTORS["items"]:
        assert is_public_key(bytes.fromhex(item["public_key"]))
    for y in (3, 4, 5):
        assert is_public_key(y.to_bytes(32, "little"))

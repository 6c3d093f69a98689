"""Codes of authenticator apps, held to the RFCs' own tables and computed once more by hand."""

import hashlib
import hmac
import struct
from datetime import UTC, datetime, timedelta

import pytest

from scalewitness.domain.one_time_codes import code_at, step_of

SECRET = b"12345678901234567890"

# RFC 4226, appendix D: the HOTP values of counters 0 to 9.
COUNTED = [
    *("755224", "287082", "359152", "969429", "338314"),
    *("254676", "287922", "162583", "399871", "520489"),
]

# RFC 6238, appendix B, SHA-1: seconds since 1970 and eight digits, of which the last six count.
TIMED = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}


def by_hand(secret: bytes, step: int) -> str:
    """RFC 4226, 5.3, written out."""
    digest = hmac.new(secret, struct.pack(">Q", step), hashlib.sha1).digest()
    at = digest[-1] & 15
    return f"{(int.from_bytes(digest[at : at + 4]) & 0x7FFFFFFF) % 10**6:06}"


def test_codes_are_those_of_the_rfcs() -> None:
    assert [code_at(SECRET, step) for step in range(10)] == COUNTED
    for seconds, digits in TIMED.items():
        now = datetime.fromtimestamp(seconds, UTC)
        assert step_of(SECRET, digits[-6:], now) == seconds // 30
        assert by_hand(SECRET, seconds // 30) == digits[-6:]


def test_a_clock_may_be_one_step_off_and_no_more() -> None:
    now = datetime(2026, 11, 29, 12, 0, 10, tzinfo=UTC)
    step = int(now.timestamp()) // 30
    for off in (-1, 0, 1):
        assert step_of(SECRET, by_hand(SECRET, step + off), now) == step + off
    for off in (-2, 2):
        assert step_of(SECRET, by_hand(SECRET, step + off), now) is None


def test_no_step_counts_twice_nor_one_before_it() -> None:
    now = datetime(2026, 11, 29, 12, 0, 10, tzinfo=UTC)
    step = int(now.timestamp()) // 30
    code = by_hand(SECRET, step)
    assert step_of(SECRET, code, now, used=step) is None
    assert step_of(SECRET, code, now + timedelta(seconds=30), used=step) is None
    assert step_of(SECRET, by_hand(SECRET, step - 1), now, used=step) is None
    assert step_of(SECRET, by_hand(SECRET, step + 1), now, used=step) == step + 1


@pytest.mark.parametrize("typed", ["", " ", "12345", "1234567", "abcdef", "１２３４５６", "-12345"])
def test_what_is_no_code_is_none(typed: str) -> None:
    assert step_of(SECRET, typed, datetime(2026, 11, 29, tzinfo=UTC)) is None


def test_spaces_in_a_code_do_not_matter() -> None:
    now = datetime.fromtimestamp(59, UTC)
    assert step_of(SECRET, " 287 082 ", now) == 1

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.translog.commitment import commit, opens

SALT = bytes(range(32))
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
salts = st.binary(min_size=32, max_size=32)


def test_a_commitment_is_the_hash_of_salt_and_text() -> None:
    # 32 zero bytes and no text: SHA-256 of 32 zero bytes, a widely published digest.
    assert commit("", bytes(32)) == (
        "66687aadf862bd776c8fc18b8e9f8e20089714856ee233b3902a591d0d5f2925"
    )
    assert commit("shed", SALT) == sha256(SALT + b"shed").hexdigest()


def test_text_is_committed_in_nfc() -> None:
    assert commit("caf\u00e9", SALT) == commit("cafe\u0301", SALT)
    assert commit("caf\u00e9", SALT) == sha256(SALT + b"caf\xc3\xa9").hexdigest()


@given(texts, salts)
def test_the_committed_text_and_salt_open_it(text: str, salt: bytes) -> None:
    assert opens(commit(text, salt), text, salt)


@given(texts, salts, salts)
def test_nothing_else_opens_it(text: str, salt: bytes, other: bytes) -> None:
    commitment = commit(text, salt)
    assert not opens(commitment, text + "x", salt)
    assert opens(commitment, text, other) is (salt == other)


@pytest.mark.parametrize("length", [0, 16, 31, 33])
def test_a_salt_has_exactly_32_bytes(length: int) -> None:
    with pytest.raises(ValueError, match="salt has 32 bytes"):
        commit("text", bytes(length))
    with pytest.raises(ValueError, match="salt has 32 bytes"):
        opens("00" * 32, "text", bytes(length))


def test_text_that_utf8_cannot_carry_is_refused() -> None:
    with pytest.raises(ValueError, match="lone surrogate"):
        commit("\udead", SALT)


def test_a_malformed_commitment_opens_with_nothing() -> None:
    right = commit("text", SALT)
    for wrong in ("", right[:-1], right.upper(), "é" * 64, "\udead", right + "0"):
        assert not opens(wrong, "text", SALT)

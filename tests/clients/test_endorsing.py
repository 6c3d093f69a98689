"""Comparing a new device's key: what is compared is what is endorsed, whatever the server says."""

import pytest

from scalewitness.domain.translog.signatures import fingerprint
from scalewitness_cli.commands.own_word import compare, print_of
from scalewitness_cli.remote import Stopped

MINE, THEIRS = bytes(range(32)), bytes(range(1, 33))


def listed(public: str, shown: bytes) -> dict[str, object]:
    return {"name": "phone", "key": {"public": public, "fingerprint": fingerprint(shown)}}


def test_a_server_that_shows_my_phones_print_beside_another_key_is_found_out() -> None:
    with pytest.raises(Stopped, match="The keys differ"):
        compare(listed(THEIRS.hex(), MINE), fingerprint(MINE))
    compare(listed(MINE.hex(), THEIRS), fingerprint(MINE).upper())


def test_what_is_no_key_is_not_compared() -> None:
    with pytest.raises(Stopped, match="no key"):
        print_of(listed("ax", MINE))

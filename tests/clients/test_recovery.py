"""A recovery key as typed from paper: what is mistyped is found, and where."""

import random

import pytest

from scalewitness_cli.recovery import ALPHABET, Mistyped, private_key, read, spelled

SECRET = bytes(range(20))
PLAIN = spelled(SECRET).replace(" ", "")


@pytest.mark.parametrize("secret", [SECRET, bytes(20), b"\xff" * 20, bytes(range(235, 255))])
def test_what_is_printed_is_read_back(secret: bytes) -> None:
    printed = spelled(secret)
    assert [len(one) for one in printed.split()] == [5] * 8
    for typed in (printed, printed.lower(), printed.replace(" ", "-"), f" {printed}\n"):
        assert read(typed) == secret


def test_letters_that_look_like_digits_are_read_as_digits() -> None:
    typed = spelled(bytes(20)).replace("0", "O").replace("1", "l")
    assert read(typed) == bytes(20)


def test_each_mistyped_character_is_found_with_its_group() -> None:
    for at, right in enumerate(PLAIN):
        for wrong in set(ALPHABET) - {right}:
            with pytest.raises(Mistyped, match=f"Group {at // 5 + 1} of 8"):
                read(PLAIN[:at] + wrong + PLAIN[at + 1 :])


def test_swapped_neighbours_and_swapped_groups_are_found() -> None:
    chosen = random.Random(7)  # noqa: S311  not for a secret
    for _ in range(200):
        plain = spelled(chosen.randbytes(20)).replace(" ", "")
        for at in range(39):
            first, second = plain[at : at + 2]
            if at % 5 != 4 and first != second:
                with pytest.raises(Mistyped):
                    read(plain[:at] + second + first + plain[at + 2 :])
        groups = [plain[at : at + 5] for at in range(0, 40, 5)]
        one, other = chosen.sample(range(8), 2)
        groups[one], groups[other] = groups[other], groups[one]
        with pytest.raises(Mistyped):
            read("".join(groups))


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "these are 0"),
        (PLAIN[:-1], "these are 39"),
        (PLAIN + "0", "these are 41"),
        (PLAIN[:-1] + "U", "“U” is in no recovery key"),
        (PLAIN[:-1] + "é", "“É” is in no recovery key"),
    ],
)
def test_what_cannot_be_one_says_why(typed: str, says: str) -> None:
    with pytest.raises(Mistyped, match=says):
        read(typed)


def test_the_key_is_the_same_each_time_and_of_the_secret_alone() -> None:
    one, again, other = (private_key(of).private_bytes_raw() for of in (SECRET, SECRET, bytes(20)))
    assert one == again != other

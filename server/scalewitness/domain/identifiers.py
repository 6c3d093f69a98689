"""What tells one animal from another: transponder codes, tags, photo ids.

Transponders follow ISO 11784, as open decoders and reader manuals describe it; the standard
itself was not read. A code carries no check digit: only its ranges can be tested.
"""

import re
import unicodedata
from collections.abc import Callable, Collection, Hashable
from dataclasses import dataclass, field
from typing import Final, Generic, Literal, TypeVar

CODE_DIGITS: Final = 15
MAX_NATIONAL: Final = 2**38 - 1
TEST_COUNTRY: Final = 999
MANUFACTURERS: Final = range(900, 999)
"""Codes shared out among manufacturers instead of countries (from memory and from open
decoders' tables)."""

MAX_TAG_CHARACTERS: Final = 40
"""Our judgement: room for a rack label, too short for a story."""

_SEPARATORS = re.compile(r"[\s.\-\u2010-\u2013]+")


@dataclass(frozen=True, slots=True)
class Transponder:
    """An ISO 11784 code: three digits of country or manufacturer, twelve national.

    ``is_test`` marks code 999, which says nothing about who made the transponder and need
    not be unique; ``is_manufacturer`` marks 900 to 998.
    """

    code: str
    country: int
    national: int
    is_test: bool
    is_manufacturer: bool


def parse_transponder(text: str) -> Transponder:
    """Read a transponder code as typed or scanned; spaces, dots and hyphens may group it.

    Raises ValueError, with a sentence for the keeper, unless 15 decimal digits remain
    whose last twelve fit 38 bits. Country 000 is refused by policy: no one is assigned it.
    """
    code = _SEPARATORS.sub("", text)
    if not (code.isascii() and code.isdecimal()):
        raise ValueError("a transponder code has digits only")
    if len(code) != CODE_DIGITS:
        raise ValueError(f"a transponder code has {CODE_DIGITS} digits, not {len(code)}")
    return _transponder(int(code[:3]), int(code[3:]))


def _transponder(country: int, national: int) -> Transponder:
    if national > MAX_NATIONAL:
        raise ValueError(f"the last twelve digits go up to {MAX_NATIONAL}; check for a typo")
    if country == 0:
        raise ValueError("no country or manufacturer has the code 000; check for a typo")
    return Transponder(
        code=f"{country:03d}{national:012d}",
        country=country,
        national=national,
        is_test=country == TEST_COUNTRY,
        is_manufacturer=country in MANUFACTURERS,
    )


def parse_tag(text: str) -> str:
    """A tag code or photo id as kept: trimmed, NFC, 1 to 40 visible characters.

    Single spaces inside are kept as typed. Raises ValueError for control, format and other
    characters that do not show, which would let two tags look alike and differ.
    """
    tag = unicodedata.normalize("NFC", text.strip())
    if not tag:
        raise ValueError("the tag is empty")
    if len(tag) > MAX_TAG_CHARACTERS:
        raise ValueError(f"a tag has at most {MAX_TAG_CHARACTERS} characters, not {len(tag)}")
    if not tag.isprintable():
        raise ValueError("the tag holds characters that cannot be seen")
    return tag


def names_one_animal(scheme: str, code: str) -> bool:
    """Whether two records that bear this plain code are of one snake: a transponder's, other than
    of a country of tests, whose codes need not be unique."""
    return scheme == "transponder" and not code.startswith(str(TEST_COUNTRY))


def plain_code(scheme: str, code: str) -> str:
    """A code in the form it is stored and compared in.

    Raises:
        ValueError: not a transponder code (ISO 11784 text form).
    """
    return parse_transponder(code).code if scheme == "transponder" else code.strip()


Compared = Literal["same", "another", "unreadable"]


def compare_transponder(read: str, on_record: Collection[str]) -> Compared:
    """What a transponder read from a snake says of whether it is the one ``on_record``, by all
    the codes that it bears there."""
    try:
        code = parse_transponder(read).code
    except ValueError:
        return "unreadable"
    return "same" if code in on_record else "another"


T = TypeVar("T", bound=Hashable)


@dataclass(slots=True)
class BorneTransponders(Generic[T]):
    """Which records bear which transponder, told of each fact in log order."""

    _bearers: dict[str, dict[T, int]] = field(default_factory=dict)
    _codes: dict[T, set[str]] = field(default_factory=dict)

    def assign(self, animal: T, scheme: str, code: str, position: int) -> None:
        """It bears the code from there on, or does so already."""
        code = plain_code(scheme, code)
        if names_one_animal(scheme, code):
            self._bearers.setdefault(code, {}).setdefault(animal, position)
            self._codes.setdefault(animal, set()).add(code)

    def withdraw(self, animal: T, scheme: str, code: str) -> None:
        """It bears it no more."""
        code = plain_code(scheme, code)
        self._bearers.get(code, {}).pop(animal, None)
        self._codes.get(animal, set()).discard(code)

    def forget(self, animal: T) -> None:
        """It bears none any more."""
        for code in self._codes.pop(animal, set()):
            self._bearers[code].pop(animal)

    def first_bearers(self, animal: T) -> set[T]:
        """Others that have borne a number of its for longest."""
        return {next(iter(self._bearers[code])) for code in self._codes.get(animal, ())} - {animal}

    def holders(self, animal: T, checked: Callable[[T, str, int], int | None]) -> set[T]:
        """Others whose a number of its is. ``checked(bearer, code, until)``: at which position
        somebody else first checked the bearer under the code, or before that position at all."""
        found = set()
        for code in self._codes.get(animal, ()):
            bearers = self._bearers[code]
            if len(bearers) == 1:
                continue
            (first, _), (_, until), *_ = bearers.items()
            ranks = {}
            for one, given in bearers.items():
                seen = checked(one, code, until if one == first else 0)
                ranks[one] = (seen is None, seen or 0, given)
            found.add(min(bearers, key=ranks.__getitem__))
        return found - {animal}

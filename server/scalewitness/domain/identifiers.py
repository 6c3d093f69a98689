"""What tells one animal from another: transponder codes, tags, photo ids.

Transponders follow ISO 11784 (the code) and ISO 11785 FDX-B (the frame on the air), as
open decoders and reader manuals describe them; the standards themselves were not read.
A code typed by hand carries no check digit: only its ranges can be tested. The CRC
protects what a reader receives, and is checked where a reader reports the word itself.
"""

import re
import unicodedata
from dataclasses import dataclass
from typing import Final

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
    if country > TEST_COUNTRY:
        raise ValueError(f"{country} is not a country or manufacturer code; they go up to 999")
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


@dataclass(frozen=True, slots=True)
class CodeWord:
    """The 64 bits a transponder sends, field by field.

    ``animal`` is ISO bit 1, the most significant. ``retag`` counts replacements of a lost
    transponder with the same code (0 to 7); ``user`` and ``reserved`` are five bits each;
    ``rudi`` marks an advanced transponder, ``data_block`` that more data follows.
    """

    transponder: Transponder
    animal: bool
    retag: int
    user: int
    reserved: int
    rudi: bool
    data_block: bool


def decode_word(hex64: str, crc: int | None = None) -> CodeWord:
    """Read a code word given as 16 hex digits, ISO bit 1 first.

    ``crc`` is the CRC-16 the reader received with it, if it reports one. Raises ValueError
    when it does not match, and as :func:`parse_transponder` for impossible codes.
    """
    if not re.fullmatch(r"[0-9a-fA-F]{16}", hex64):
        raise ValueError("a code word has 16 hex digits")
    word = int(hex64, 16)
    # The CRC runs over the bytes in the order they are sent: least significant first.
    if crc is not None and crc != crc16_kermit(word.to_bytes(8, "little")):
        raise ValueError("the reader's checksum does not match the code; scan again")
    return CodeWord(
        transponder=_transponder(country=word >> 38 & 0x3FF, national=word & MAX_NATIONAL),
        animal=bool(word >> 63),
        retag=word >> 60 & 0b111,
        user=word >> 55 & 0b11111,
        reserved=word >> 50 & 0b11111,
        rudi=bool(word >> 49 & 1),
        data_block=bool(word >> 48 & 1),
    )


_HEADER: Final = "00000000001"
_FRAME_BITS: Final = 128
_GROUP_BITS: Final = 9


def decode_frame(bits: str) -> CodeWord:
    """Read a whole FDX-B frame: 128 characters ``0`` and ``1``, header first.

    After the 11-bit header come 13 groups of eight bits and a control bit 1: eight groups
    of code, two of CRC, three of trailer, each least significant bit first. Raises
    ValueError for a frame of another form and as :func:`decode_word`.
    """
    if len(bits) != _FRAME_BITS or set(bits) - {"0", "1"}:
        raise ValueError(f"a frame has {_FRAME_BITS} bits")
    if not bits.startswith(_HEADER):
        raise ValueError("the frame does not begin with the header 00000000001")
    starts = range(len(_HEADER), _FRAME_BITS, _GROUP_BITS)
    groups = [bits[start : start + _GROUP_BITS] for start in starts]
    if not all(group.endswith("1") for group in groups):
        raise ValueError("a control bit of the frame is not 1; scan again")
    octets = bytes(int(group[7::-1], 2) for group in groups)
    word = int.from_bytes(octets[:8], "little")
    return decode_word(f"{word:016x}", crc=int.from_bytes(octets[8:10], "little"))


def crc16_kermit(data: bytes) -> int:
    """CRC-16/KERMIT: polynomial 0x1021 reflected, initial 0, no final xor; 0 to 65535."""
    register = 0
    for octet in data:
        register ^= octet
        for _ in range(8):
            register = register >> 1 ^ (0x8408 if register & 1 else 0)
    return register

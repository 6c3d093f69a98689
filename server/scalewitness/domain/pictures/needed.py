"""What of a picture's file a decoder needs, and how much there is of it.

A small file can cost its reader a great deal: a profile or a text that unpacks to gigabytes,
thousands of layers, pictures behind the picture. So a decoder gets nothing but what draws
the picture, and only once its size is known from the file's own header.

Sources: JPEG, ITU-T T.81, annex B; PNG, third edition (W3C 2025), 5 and 11; WebP, RFC 9649; the
orientation, Exif 2.3, 4.6.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from scalewitness.domain.pictures.plain import DAMAGED, MOST_SCANS, TOO_MANY_SCANS, NotPlain

UPRIGHT: Final = 1
"""Exif's number for a picture that is not turned."""
MOST_PARTS: Final = 20_000
"""Segments or chunks of a file: a PNG of 25 MB in pieces of two kilobytes (our judgement)."""

_UNREADABLE: Final = (
    "the file is not a picture that can be read: choose a JPEG, PNG or WebP file that opens on "
    "your own screen"
)
_NEXT_MARKER: Final = re.compile(rb"\xff+([^\x00\xff\xd0-\xd7])", re.DOTALL)
"""Inside a scan 0xFF is followed by 0 or a restart; between segments it may be repeated."""
_FRAMES: Final = frozenset({0xC0, 0xC1, 0xC2})
_OTHER_FRAMES: Final = frozenset(range(0xC3, 0xD0)) - {0xC4, 0xC8, 0xCC}
_PROGRESSIVE, _SCAN, _END, _APP1 = 0xC2, 0xDA, 0xD9, 0xE1
_TABLES: Final = frozenset({0xC4, 0xDB, 0xDD})
_COLOURS: Final = {0xE0: b"JFIF\0", 0xEE: b"Adobe"}


@dataclass(frozen=True, slots=True)
class Needed:
    """A file with nothing in it but its picture. ``orientation`` as in Exif, 1 to 8."""

    format: str
    width: int
    height: int
    orientation: int
    data: bytes
    held: int = 0
    """Bytes a decoder keeps of the whole picture beside the pixels: the coefficients of a JPEG
    that comes in more than one scan."""


def needed(data: bytes) -> Needed:
    """Raises NotPlain: it is no JPEG, PNG or WebP file, or not one picture."""
    if data.startswith(b"\xff\xd8\xff"):
        return _of_jpeg(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return _of_png(data)
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return _of_webp(data)
    raise NotPlain(_UNREADABLE)


# --- JPEG


def _of_jpeg(data: bytes) -> Needed:
    segments = list(_segments(data))
    frames = [one for one in segments if one.marker in _FRAMES]
    scans = [one.content[:1] for one in segments if one.marker == _SCAN]
    odd = any(one.marker in _OTHER_FRAMES for one in segments)
    if odd or len(frames) != 1 or len(frames[0].content) < 6 or not scans:
        raise NotPlain(_UNREADABLE)
    if len(scans) > MOST_SCANS:
        raise NotPlain(TOO_MANY_SCANS)
    exif = [one.content[6:] for one in segments if one.is_exif]
    kept = data[:2] + b"".join(data[one.begin : one.end] for one in segments if one.draws)
    frame = frames[0].content
    width, height = int.from_bytes(frame[3:5], "big"), int.from_bytes(frame[1:3], "big")
    # Any of these, and decoding can begin only when all of the file was read.
    whole = frames[0].marker == _PROGRESSIVE or len(scans) > 1 or scans[0] != frame[5:6]
    held = _coefficients(frame, width * height) if whole else 0
    return Needed("JPEG", width, height, _orientation(exif[0] if exif else b""), kept, held)


@dataclass(frozen=True, slots=True)
class _Segment:
    """A marker and what follows it; a scan's header with the scan, from ``begin`` to ``end``."""

    marker: int
    content: bytes
    begin: int
    end: int

    @property
    def draws(self) -> bool:
        """Whether a decoder needs it."""
        begins = _COLOURS.get(self.marker)
        if begins:
            return self.content.startswith(begins) and len(self.content) <= 14
        return self.marker in _FRAMES | _TABLES | {_SCAN, _END}

    @property
    def is_exif(self) -> bool:
        return self.marker == _APP1 and self.content.startswith(b"Exif\0\0")


def _segments(data: bytes) -> Iterator[_Segment]:
    """As a decoder finds them: what lies between is passed over, and nothing behind the end is
    looked at."""
    at = 2
    for _ in range(MOST_PARTS):
        found = _NEXT_MARKER.search(data, at)
        if found is None:
            return
        marker, begin = found[1][0], found.end()
        if marker == _END:
            yield _Segment(marker, b"", begin - 2, begin)
            return
        length = int.from_bytes(data[begin : begin + 2], "big")
        content, at = data[begin + 2 : begin + length], begin + length
        if length < 2 or at > len(data):
            raise NotPlain(DAMAGED)
        if marker == _SCAN:
            following = _NEXT_MARKER.search(data, at)
            at = following.start() if following else len(data)
        yield _Segment(marker, content, begin - 2, at)
    raise NotPlain(_UNREADABLE)


def _coefficients(frame: bytes, pixels: int) -> int:
    """Bytes of them all, at two bytes each; a component may be sampled more thinly."""
    factors = [(one >> 4, one & 15) for one in frame[7::3][: frame[5]]]
    widest = max((across for across, _ in factors), default=1) or 1
    tallest = max((down for _, down in factors), default=1) or 1
    share = sum(across * down for across, down in factors) / (widest * tallest)
    return int(2 * share * pixels)


# --- PNG


def _of_png(data: bytes) -> Needed:
    kept, orientation = [data[:8]], UPRIGHT
    for name, content, whole in _chunks(data):
        if name == b"eXIf":
            orientation = _orientation(content)
        if name in {b"IHDR", b"PLTE", b"IDAT", b"IEND"}:
            kept.append(whole)
    if data[12:16] != b"IHDR":
        raise NotPlain(_UNREADABLE)
    width, height = int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big")
    return Needed("PNG", width, height, orientation, b"".join(kept))


def _chunks(data: bytes) -> Iterator[tuple[bytes, bytes, bytes]]:
    at = 8
    for _ in range(MOST_PARTS):
        length = int.from_bytes(data[at : at + 4], "big")
        name, end = data[at + 4 : at + 8], at + length + 12
        if end > len(data):
            raise NotPlain(DAMAGED)
        yield name, data[at + 8 : end - 4] if name == b"eXIf" else b"", data[at:end]
        if name == b"IEND":
            return
        at = end
    raise NotPlain(_UNREADABLE)


# --- WebP


def _of_webp(data: bytes) -> Needed:
    parts, orientation = [], UPRIGHT
    for name, content in _riff(data):
        if name in {b"ANIM", b"ANMF"}:
            raise NotPlain("the file is an animation: choose a single picture")
        if name == b"EXIF":
            orientation = _orientation(content.removeprefix(b"Exif\0\0"))
        if name == b"VP8X":
            content = bytes([content[0] & 0x10]) + content[1:]  # only whether it has transparency
        if name in {b"VP8X", b"ALPH", b"VP8 ", b"VP8L"}:
            padding = b"\0" * (len(content) % 2)
            parts += [name + len(content).to_bytes(4, "little"), content, padding]
    if not parts:
        raise NotPlain(_UNREADABLE)
    width, height = _canvas(parts[0][:4], parts[1])
    body = b"WEBP" + b"".join(parts)
    whole = b"RIFF" + len(body).to_bytes(4, "little") + body
    return Needed("WEBP", width, height, orientation, whole)


def _riff(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    at = 12
    for _ in range(MOST_PARTS):
        if at + 8 > len(data):
            return
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        content = data[at + 8 : at + 8 + length]
        if not content or len(content) != length:
            raise NotPlain(DAMAGED)
        yield data[at : at + 4], content
        at += 8 + length + length % 2
    raise NotPlain(_UNREADABLE)


def _canvas(name: bytes, content: bytes) -> tuple[int, int]:
    def number(begin: int, end: int) -> int:
        return int.from_bytes(content[begin:end], "little")

    if name == b"VP8X":
        return number(4, 7) + 1, number(7, 10) + 1
    if name == b"VP8L":
        return (number(1, 5) & 0x3FFF) + 1, (number(1, 5) >> 14 & 0x3FFF) + 1
    return number(6, 8) & 0x3FFF, number(8, 10) & 0x3FFF


# --- which way is up


def _orientation(tiff: bytes) -> int:
    """From the first directory of Exif; what cannot be read is upright."""
    if tiff[:4] not in {b"II*\0", b"MM\0*"}:
        return UPRIGHT
    order: Literal["little", "big"] = "little" if tiff.startswith(b"II") else "big"

    def number(begin: int, length: int) -> int:
        return int.from_bytes(tiff[begin : begin + length], order)

    first = number(4, 4)
    for entry in range(first + 2, first + 2 + 12 * number(first, 2), 12):
        if number(entry, 2) == 0x0112:
            found = number(entry + 8, 2)
            return found if 1 <= found <= 8 else UPRIGHT
    return UPRIGHT

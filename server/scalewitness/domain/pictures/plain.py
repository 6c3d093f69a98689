"""JPEG files that hold a picture and nothing else.

A camera writes the place, the time and its owner into a file (EXIF, XMP, IPTC, comments,
further pictures behind the first). What is attached to the record holds none of it: the only
segments allowed are those a decoder needs (ITU-T T.81, annex B).
"""

import re
from typing import Final

LARGEST_BYTES: Final = 4_000_000
"""Of a file; a picture of :data:`LONGEST_SIDE` is rarely above one megabyte (our judgement)."""
LONGEST_SIDE: Final = 2048
"""In pixels: enough to count scales on a tail that fills the picture (our judgement)."""
MOST_SCANS: Final = 64
"""Passes over the whole picture that a file may ask for. Encoders write up to some twenty; an
empty one takes 40 bytes and a moment, thousands take minutes (our judgement)."""
MEDIA_TYPE: Final = "image/jpeg"
TOO_MANY_SCANS: Final = "the file has too many layers: save a copy of the picture, and choose that"
DAMAGED: Final = "the file is broken off or damaged: take the picture, or copy it, once more"

_START, _END, _SCAN = b"\xff\xd8", b"\xff\xd9", 0xDA
_SIZED: Final = frozenset({0xC0, 0xC1, 0xC2})
"""Frame headers: baseline, extended, progressive."""
_AFTER_SCAN: Final = re.compile(rb"\xff[^\x00\xd0-\xd7]", re.DOTALL)
_NEEDED: Final = _SIZED | {0xC4, 0xDB, 0xDD, _SCAN}
"""With Huffman tables, quantisation tables, restart intervals and scans."""
_MARKED: Final = {0xE0: b"JFIF\0", 0xEE: b"Adobe"}
"""Application segments that tell how to read the colours, by how they begin."""


class NotPlain(ValueError):
    """The file is no JPEG, or holds more than its picture; the message says which."""


def size_of(data: bytes) -> tuple[int, int]:
    """Width and height of a plain JPEG file, in pixels.

    Raises:
        NotPlain: it is anything else.
    """
    if not data.startswith(_START):
        raise NotPlain("the file is not a JPEG picture")
    at, size, scans = 2, (0, 0), 0
    while data[at : at + 2] != _END:
        marker, segment = _segment(data, at)
        if marker in _SIZED:
            size = _frame(segment)
        at += 4 + len(segment)
        if marker == _SCAN:
            at, scans = _end_of_scan(data, at), scans + 1
        if scans > MOST_SCANS:
            raise NotPlain(TOO_MANY_SCANS)
    if at + 2 != len(data):
        raise NotPlain("the file goes on behind the picture")
    if 0 in size:
        raise NotPlain("the file holds no picture")
    return size


def _segment(data: bytes, at: int) -> tuple[int, bytes]:
    """The marker at this place and what follows it, without its two bytes of length."""
    head = data[at : at + 4]
    if len(head) < 4 or head[0] != 0xFF:
        raise NotPlain(DAMAGED)
    marker, length = head[1], int.from_bytes(head[2:4], "big")
    segment = data[at + 4 : at + 2 + length]
    if length < 2 or len(segment) != length - 2:
        raise NotPlain(DAMAGED)
    begins = _MARKED.get(marker)
    if marker not in _NEEDED and not (begins and _is_short(segment, begins)):
        raise NotPlain("the file holds more than its picture, perhaps where it was taken")
    return marker, segment


def _is_short(segment: bytes, begins: bytes) -> bool:
    """JFIF and Adobe segments have 14 and 12 bytes; a thumbnail would make one longer."""
    return segment.startswith(begins) and len(segment) <= 14


def _frame(segment: bytes) -> tuple[int, int]:
    if len(segment) < 6:
        raise NotPlain(DAMAGED)
    return int.from_bytes(segment[3:5], "big"), int.from_bytes(segment[1:3], "big")


def _end_of_scan(data: bytes, at: int) -> int:
    """Where the next marker stands; inside a scan 0xFF is followed by 0 or a restart."""
    found = _AFTER_SCAN.search(data, at)
    if found is None:
        raise NotPlain(DAMAGED)
    return found.start()

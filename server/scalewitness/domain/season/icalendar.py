"""A calendar file (RFC 5545) of whole days: as little as a general calendar needs."""

from collections.abc import Iterable, Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Final

from msgspec import Struct

LONGEST_LINE: Final = 75
"""Octets of a line without its end (RFC 5545, 3.1)."""


class Entry(Struct, frozen=True):
    """From its ``first`` to its ``last`` day. ``uid`` stays the same as long as it is the same
    thing; ``changed``: when what it says was last changed."""

    uid: str
    title: str
    first: date
    last: date
    changed: datetime


def calendar_file(name: str, maker: str, entries: Iterable[Entry]) -> bytes:
    """The file in UTF-8, its lines folded and ended as the standard has it. ``maker``: what made
    it, as a product identifier."""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_text(maker)}", "CALSCALE:GREGORIAN"]
    lines += [f"X-WR-CALNAME:{_text(name)}", "REFRESH-INTERVAL;VALUE=DURATION:PT12H"]
    for one in entries:
        lines += _event(one)
    lines.append("END:VCALENDAR")
    return b"".join(piece for line in lines for piece in _folded(line))


def _event(one: Entry) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{_text(one.uid)}"
    yield f"DTSTAMP:{one.changed.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART;VALUE=DATE:{one.first:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{one.last + timedelta(days=1):%Y%m%d}"  # the day after the last
    yield f"SUMMARY:{_text(one.title)}"
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _text(value: str) -> str:
    """Escaped (3.3.11); control characters have no place in it."""
    plain = "".join(one if one.isprintable() else " " for one in value)
    return plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")


def _folded(line: str) -> Iterator[bytes]:
    """In pieces of at most so many octets, none of which ends within a character."""
    piece, room = b"", LONGEST_LINE
    for one in line:
        octets = one.encode()
        if len(piece) + len(octets) > room:
            yield piece + b"\r\n"
            piece, room = b" ", LONGEST_LINE
        piece += octets
    yield piece + b"\r\n"

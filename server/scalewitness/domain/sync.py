"""Sync as values: where a client stands, and how two edits of one record become one.

A cursor is opaque to clients. It says up to which point of the log and of the clock the
client's sight is known to it, how far facts and edits were handed over, and, while snapshots
are being handed over, towards which point and after which animal.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Final, Literal
from uuid import UUID

import msgspec
from msgspec import Meta, Struct

CURSOR_LIMIT: Final = 900
"""Characters; what is longer is none of ours."""
_START: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND: Final = timedelta(microseconds=1)

Count = Annotated[int, Meta(ge=0, le=2**53 - 1)]
Micros = Annotated[int, Meta(ge=0, le=253_402_300_799_999_999)]
"""Microseconds since 1970, to the end of the year 9999."""


class BadCursor(ValueError):
    """No cursor of this form was ever given out."""


class Reached(Struct, frozen=True, array_like=True):
    """The log's first ``size`` entries, at a moment."""

    size: Count
    micros: Micros

    @property
    def at(self) -> datetime:
        return _START + self.micros * _MICROSECOND

    @staticmethod
    def of(size: int, at: datetime) -> "Reached":
        return Reached(size, (at - _START) // _MICROSECOND)


NOTHING: Final = Reached(0, 0)


class SnapshotRun(Struct, frozen=True, array_like=True):
    """Snapshots and purges under way to ``goal``: of collections, then of animals, by id;
    ``after`` is the last one done."""

    goal: Reached
    step: Literal["collections", "animals"] = "collections"
    after: UUID | None = None


class Cursor(Struct, frozen=True, array_like=True, kw_only=True):
    """``sight``: what the client knows itself to see is that of here. ``facts``: entries
    below this position were handed over; ``covered``: of those below this one that are about
    animals, in snapshots. ``animals``, ``collections``: the last edit handed over of each;
    ``profile``: its version. ``origin``: of the log that all of it is of; empty in cursors of
    before it was said."""

    form: Literal[1] = 1
    epoch: bytes
    sight: Reached
    facts: Count
    covered: Count
    animals: Count
    collections: Count
    profile: Count
    run: SnapshotRun | None = None
    origin: Annotated[str, Meta(max_length=400)] = ""


def written(cursor: Cursor) -> str:
    """As clients carry it: letters, digits, ``-`` and ``_``."""
    return urlsafe_b64encode(msgspec.msgpack.encode(cursor)).decode().rstrip("=")


def read_cursor(text: str) -> Cursor:
    """Raises BadCursor."""
    if not text.isascii() or not 0 < len(text) <= CURSOR_LIMIT:
        raise BadCursor("not the form of a cursor")
    try:
        data = urlsafe_b64decode(text + "=" * (-len(text) % 4))
        return msgspec.msgpack.decode(data, type=Cursor)
    except (Error, msgspec.DecodeError, ValueError) as fault:
        raise BadCursor(str(fault)) from None


class Clash(Struct, frozen=True):
    """A field that two people set to different things: the sender's, and what stands now."""

    yours: str | bool
    stands: str | bool


def merge(
    base: Mapping[str, Any] | None, stands: Mapping[str, Any], yours: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Clash]]:
    """What to change, and where the two overlap; with any overlap nothing should be changed.

    ``base``: the fields as the sender knew them, None where that is not known; ``stands``: as
    they are; ``yours``: only what the sender set. The same value twice is no overlap.
    """
    changes = {name: value for name, value in yours.items() if stands[name] != value}
    clashes = {
        name: Clash(value, stands[name])
        for name, value in changes.items()
        if base is None or base[name] != stands[name]
    }
    return changes, clashes

"""An animal's history: edits of its record, facts about it."""

from collections.abc import Iterable, Set
from datetime import datetime
from uuid import UUID

from msgspec import Struct

from scalewitness.animals.queries import Edit
from scalewitness.ledger.models import Entry


class Changed(Struct, frozen=True):
    """A field before and after an edit."""

    was: str | bool
    now: str | bool


class EditShown(Struct, frozen=True):
    """An edit that made ``version``; ``by`` is a name."""

    version: int
    at: datetime
    by: str | None
    fields: dict[str, Changed]


class FactShown(Struct, frozen=True):
    """A fact by its place in the log. ``by_name`` None: the record itself stated it. ``id`` None:
    the reader may not read its entry, and could work out what it says by its hash and its id."""

    position: int
    id: UUID | None
    kind: str
    by_name: str | None
    claimed_at: datetime
    received_at: datetime
    flags: list[str]


class History(Struct, frozen=True):
    edits: list[EditShown]
    facts: list[FactShown]


def history(
    edits: Iterable[Edit], entries: Iterable[Entry], names: dict[UUID, str], shut: Set[UUID]
) -> History:
    """``shut``: the facts whose entries the reader may not read."""
    facts = [_fact(one, names, is_shut=one.fact in shut) for one in entries]
    return History([_edit(edit, names) for edit in edits], facts)


def _edit(edit: Edit, names: dict[UUID, str]) -> EditShown:
    fields = {name: Changed(*pair) for name, pair in edit.fields.items()}
    return EditShown(edit.version, edit.at, _name(edit.by, names), fields)


def _fact(entry: Entry, names: dict[UUID, str], *, is_shut: bool) -> FactShown:
    return FactShown(
        position=entry.position,
        id=None if is_shut else entry.fact,
        kind=entry.kind,
        by_name=_name(entry.by, names),
        claimed_at=entry.claimed_at,
        received_at=entry.received_at,
        flags=entry.flags,
    )


def _name(who: UUID | None, names: dict[UUID, str]) -> str | None:
    return names.get(who, "unknown") if who else None

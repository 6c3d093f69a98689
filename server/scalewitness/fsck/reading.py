"""Entries read strictly: the leaf decides, the columns beside it must agree."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple, TypeAlias
from uuid import UUID

import msgspec
from django.db.models import QuerySet

from scalewitness.domain.facts import BODIES, Body
from scalewitness.domain.moments import rfc3339, to_the_microsecond
from scalewitness.domain.translog.leaf import Leaf, read_leaf
from scalewitness.domain.translog.record_map import KIND as MAP_ROOT
from scalewitness.domain.translog.tree import leaf_hash
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.prepared import Prepared
from scalewitness.ledger.services.writing import Logged


class LoggedFact(Logged[Any], frozen=True):
    """A fact as its leaf tells it. ``raw`` is the body as logged, ``body`` its type."""

    kind: str
    flags: tuple[str, ...]
    raw: dict[str, Any]
    device: UUID | None


@dataclass(frozen=True, slots=True)
class Read:
    """One entry: the hash its leaf has, what it says, and what is wrong with it. ``leaf``
    None: it cannot be read, or its body is not its kind's."""

    position: int
    hash: bytes
    fact: LoggedFact | None
    problem: str | None
    leaf: Leaf | None = None


class EntryRow(NamedTuple):
    """What an entry's row has, as `Entry` has it too."""

    position: int
    fact: UUID
    kind: str
    by: UUID | None
    device: UUID | None
    about: UUID | None
    claimed_at: datetime
    received_at: datetime
    flags: list[str]
    leaf: bytes
    leaf_hash: bytes


AnyRow: TypeAlias = Entry | EntryRow


def entries_between(start: int, end: int) -> list[EntryRow]:
    return [EntryRow(*row) for row in _BETWEEN.ask(start=start, end=end)]


def _between(start: int, end: int) -> QuerySet[Entry, Any]:
    rows = Entry.objects.filter(position__gte=start, position__lt=end).order_by("position")
    return rows.values_list(*EntryRow._fields)


_BETWEEN = Prepared(_between, start=-1, end=-2)


def read_entry(entry: AnyRow) -> Read:
    """The entry with all that can be wrong with it alone; the first fault counts."""
    data = bytes(entry.leaf)
    hash = leaf_hash(data)
    try:
        leaf = read_leaf(data)
    except ValueError as fault:
        return Read(entry.position, hash, None, f"the leaf cannot be read: {fault}")
    body, problem = _body(leaf)
    if body is None:
        return Read(entry.position, hash, None, problem)
    unlike = _disagreement(entry, leaf, hash)
    return Read(entry.position, hash, _fact_of(entry, leaf, body), unlike, leaf)


def _body(leaf: Leaf) -> tuple[Body | None, str | None]:
    type = BODIES.get(leaf.kind)
    if type is None:
        return None, f"no fact is called {leaf.kind}"
    try:
        return msgspec.convert(leaf.body, type), None
    except msgspec.ValidationError as fault:
        return None, f"the body is not that of {leaf.kind}: {fault}"


def _disagreement(entry: AnyRow, leaf: Leaf, hash: bytes) -> str | None:
    if bytes(entry.leaf_hash) != hash:
        return "the leaf does not have the hash stored beside it"
    columns: dict[str, tuple[object, object]] = {
        "fact": (str(entry.fact), leaf.id),
        "kind": (entry.kind, leaf.kind),
        "by": (_text(entry.by), leaf.by),
        "device": (_text(entry.device), leaf.device),
        "claimed_at": (rfc3339(entry.claimed_at), leaf.at),
        "about": (_text(entry.about), leaf.about),
    }
    if leaf.stamp is not None:
        columns["received_at"] = (to_the_microsecond(entry.received_at), leaf.stamp.received)
        columns["flags"] = (tuple(entry.flags), leaf.stamp.flags)
    unlike = [name for name, (column, stated) in columns.items() if column != stated]
    return f"columns that are not the leaf's: {', '.join(unlike)}" if unlike else None


def _fact_of(entry: AnyRow, leaf: Leaf, body: Body) -> LoggedFact | None:
    if leaf.about is None and leaf.kind != MAP_ROOT:
        return None  # nothing is stored of it beyond the entry
    stamp = leaf.stamp
    return LoggedFact(
        id=UUID(leaf.id),
        position=entry.position,
        by=UUID(leaf.by) if leaf.by else None,
        at=entry.claimed_at,
        received_at=datetime.fromisoformat(stamp.received) if stamp else entry.received_at,
        about=UUID(leaf.about or leaf.id),  # a map is about nothing but itself
        body=body,
        kind=leaf.kind,
        flags=stamp.flags if stamp else tuple(entry.flags),
        raw=leaf.body,
        device=UUID(leaf.device) if leaf.device else None,
    )


def _text(value: UUID | None) -> str | None:
    return None if value is None else str(value)


def facts_in(entries: Sequence[AnyRow]) -> list[LoggedFact]:
    """What these entries say; those that cannot be read are left out."""
    return [one.fact for one in map(read_entry, entries) if one.fact is not None]

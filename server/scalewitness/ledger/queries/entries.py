"""Reading the log's entries and the erasable text beside them."""

from collections.abc import Collection, Iterable, Iterator
from datetime import datetime
from typing import Any, NamedTuple, TypeAlias
from uuid import UUID

from django.db.models import OuterRef, Q, QuerySet, Subquery

from scalewitness.domain.translog.leaf import Leaf, read_leaf
from scalewitness.ledger.models import Entry, Text
from scalewitness.ledger.queries.prepared import Prepared, any_of


class EntryLine(NamedTuple):
    """What is read of many entries at once; of one, `Entry` has it too."""

    position: int
    fact: UUID
    kind: str
    by: UUID | None
    about: UUID | None
    received_at: datetime
    flags: list[str]
    leaf: bytes


AnyEntry: TypeAlias = Entry | EntryLine


def lines_about(subjects: Iterable[UUID]) -> list[EntryLine]:
    """All entries about these things, in log order."""
    return [EntryLine(*row) for row in LINES.ask(subjects=list(subjects))]


def _lines(subjects: Any) -> QuerySet[Entry, Any]:
    rows = any_of(Entry.objects.order_by("position"), '"ledger_entry"."about"', subjects)
    return rows.values_list(*EntryLine._fields)


LINES = Prepared(_lines, subjects=(UUID(int=1),))


def lines_of_kinds(subjects: Iterable[UUID], kinds: Collection[str]) -> list[EntryLine]:
    """Entries of these kinds about these things, in log order."""
    rows = Entry.objects.filter(about__in=list(subjects), kind__in=kinds).order_by("position")
    return [EntryLine(*row) for row in rows.values_list(*EntryLine._fields)]


def lines_between(start: int, end: int) -> list[EntryLine]:
    """Entries from ``start`` on and before ``end``, in log order."""
    return [EntryLine(*row) for row in STRETCH.ask(start=start, end=end)]


def _stretch(start: int, end: int) -> QuerySet[Entry, Any]:
    rows = Entry.objects.filter(position__gte=start, position__lt=end)
    return rows.order_by("position").values_list(*EntryLine._fields)


STRETCH = Prepared(_stretch, start=-1, end=-2)


def lines_at(positions: Iterable[int]) -> list[EntryLine]:
    """Entries at these positions, in log order."""
    rows = Entry.objects.filter(position__in=list(positions)).order_by("position")
    return [EntryLine(*row) for row in rows.values_list(*EntryLine._fields)]


def heard_after(positions: Collection[int], moment: datetime) -> set[int]:
    """Those of the positions whose entries came in after the moment."""
    rows = Entry.objects.filter(position__in=positions, received_at__gt=moment)
    return set(rows.values_list("position", flat=True)) if positions else set()


def entry_of(fact: UUID) -> Entry | None:
    return Entry.objects.filter(fact=fact).first()


def entry_at(position: int) -> Entry | None:
    return Entry.objects.filter(position=position).first()


def entries_of(facts: Iterable[UUID]) -> dict[UUID, Entry]:
    """Known entries among the given fact ids."""
    return {entry.fact: entry for entry in Entry.objects.filter(fact__in=list(facts))}


def entries_about(subject: UUID) -> list[Entry]:
    """All entries about one thing, in log order."""
    return list(Entry.objects.filter(about=subject).order_by("position"))


def last_spoken_of(by: UUID, most: int) -> list[UUID]:
    """What somebody's last statements were about, the latest first; each once."""
    rows = Entry.objects.filter(by=by).order_by("-position").values_list("about", flat=True)
    return list(dict.fromkeys(one for one in rows[:most] if one))


def entries_by(by: UUID, after: int) -> QuerySet[Entry]:
    """What somebody stated beyond a position, the first one first."""
    return Entry.objects.filter(by=by, position__gt=after).order_by("position")


def sent_from(by: UUID, device: UUID, since: datetime | None = None) -> QuerySet[Entry]:
    """What came in somebody's name from one device of theirs since the record took it, which no
    device can claim otherwise; the latest first."""
    rows = Entry.objects.filter(by=by, device=device).order_by("-position")
    return rows if since is None else rows.filter(received_at__gte=since)


def leaf_of(entry: AnyEntry) -> Leaf:
    return read_leaf(bytes(entry.leaf))


def signing_device(leaf: bytes) -> UUID | None:
    """The device whose signature an entry with that leaf carries; None: it carries none."""
    entry = read_leaf(bytes(leaf))
    return UUID(entry.device) if entry.sig is not None and entry.device is not None else None


def entries_by_position(kinds: Iterable[str] | None = None) -> Iterator[Entry]:
    """All entries in log order, streamed; optionally of some kinds only."""
    entries = Entry.objects.order_by("position")
    if kinds is not None:
        entries = entries.filter(kind__in=list(kinds))
    return entries.iterator(chunk_size=1000)


class OpenedText(NamedTuple):
    """Of a commitment (:func:`~scalewitness.domain.translog.commitment.commit`)."""

    text: str
    salt: bytes


def texts_of(facts: Iterable[UUID]) -> dict[tuple[UUID, str], str]:
    """Free text still kept, by fact and field; erased text is simply absent."""
    return {(fact, field): text for fact, field, text, _ in TEXTS.ask(facts=list(facts))}


def note_beside(fact: str, column: str = "text", field: str = "note") -> Subquery:
    """The note, where it is still kept, of the fact whose id is that field of an outer query; or
    another ``column`` of it, or another ``field``'s text."""
    notes = Text.objects.filter(fact=OuterRef(fact), field=field)
    return Subquery(notes.values(column)[:1])


def texts_by_fact(facts: Iterable[UUID]) -> dict[UUID, dict[str, str]]:
    """As :func:`texts_of`, by fact and then by field; facts without any are absent."""
    found: dict[UUID, dict[str, str]] = {}
    for (fact, field), text in texts_of(facts).items():
        found.setdefault(fact, {})[field] = text
    return found


def openings_by_fact(facts: Iterable[UUID]) -> dict[UUID, dict[str, OpenedText]]:
    """What opens the commitments of facts to their texts, by fact and then by field; of what was
    erased, and of facts without any, nothing."""
    found: dict[UUID, dict[str, OpenedText]] = {}
    for fact, field, text, salt in TEXTS.ask(facts=list(facts)):
        found.setdefault(fact, {})[field] = OpenedText(text, bytes(salt))
    return found


def _texts(facts: Any) -> QuerySet[Text, Any]:
    rows = any_of(Text.objects.all(), '"ledger_text"."fact"', facts)
    return rows.values_list("fact", "field", "text", "salt")


TEXTS = Prepared(_texts, facts=(UUID(int=1),))


def salts_of(facts: Iterable[UUID]) -> dict[tuple[UUID, str], bytes]:
    rows = Text.objects.filter(fact__in=list(facts))
    return {(row.fact, row.field): bytes(row.salt) for row in rows}


def is_spoken_for(thing: UUID) -> bool:
    """Whether any fact is, or is about, this id: a new thing needs one of its own."""
    return Entry.objects.filter(Q(fact=thing) | Q(about=thing)).exists()

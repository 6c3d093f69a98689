"""What lies outside the log against the lines of its books, and these against the log."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final
from uuid import UUID

import msgspec
from django.db.models import Exists, Model, OuterRef

from scalewitness.animals.models import Animal, Collection
from scalewitness.books.models import BookClosing, BookLine
from scalewitness.books.queries import BOOKS, Book, closed_in, lines_from
from scalewitness.domain.erasure import ERASED_NAME
from scalewitness.domain.translog.books import (
    EMPTY,
    Closed,
    chained,
    line_commitment,
    root_of_books,
)
from scalewitness.fsck.erasures import Erasures
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper

LINES: Final = BookLine._meta.db_table
CLOSINGS: Final = BookClosing._meta.db_table


def check_books(size: int) -> Iterator[Difference]:
    """All books, of a log of ``size`` entries."""
    yield from check_closings(size)
    stated = list(BookClosing.objects.order_by("position"))
    for book in BOOKS:
        ends = [(one.position, closed_in(one).get(book.name, Closed())) for one in stated]
        yield from _check_book(book, ends)
    yield from check_records()
    yield from check_letters()


def check_closings(size: int) -> Iterator[Difference]:
    """Each closing opens the root that its fact states, and each such fact has its closing."""
    rows = {one.position: one for one in BookClosing.objects.all()}
    for entry in Entry.objects.filter(kind="books_closed", position__lt=size):
        row = rows.pop(entry.position, None)
        if row is None:
            yield Difference(CLOSINGS, entry.position, "the entry has no row")
        elif not _opens(row, entry):
            what = "what the books came to is not what the entry commits to"
            yield Difference(CLOSINGS, entry.position, what)
    for position in sorted(rows):
        yield Difference(CLOSINGS, position, "a row that no entry calls for")


def _opens(row: BookClosing, entry: Entry) -> bool:
    try:
        root: object = leaf_of(entry).body.get("root")
        return root_of_books(closed_in(row)) == root
    except (ValueError, msgspec.ValidationError):
        return False


def _check_book(book: Book, ends: list[tuple[int, Closed]]) -> Iterator[Difference]:
    """Its lines in order against each closing, and the rows against the lines."""
    chain, nth, ahead = EMPTY, 0, iter(ends)
    position, end = next(ahead, (None, Closed()))
    for lines in lines_from(book.name, 0):
        for line in lines:
            while position is not None and end.lines == nth:
                yield from _chain(book, position, end, chain)
                position, end = next(ahead, (None, Closed()))
            if line.nth != nth:
                break
            chain = chained(chain, line.thing, line.state, bytes(line.commitment))
            nth += 1
        yield from _rows(book, lines)
    while position is not None and end.lines == nth:
        yield from _chain(book, position, end, chain)
        position, end = next(ahead, (None, Closed()))
    if position is not None:
        what = f"{book.name}: it had {end.lines} lines, and line {nth} is missing"
        yield Difference(LINES, position, what)


def _chain(book: Book, position: int, end: Closed, chain: bytes) -> Iterator[Difference]:
    if chain.hex() != end.chain:
        what = f"{book.name}: its first {end.lines} lines are not those that were closed"
        yield Difference(LINES, position, what)


def _rows(book: Book, lines: Sequence[BookLine]) -> Iterator[Difference]:
    rows: dict[str, dict[str, Mapping[str, Any]]] = {}
    for row in book.rows({one.thing for one in lines}):
        rows.setdefault(row["book_thing"], {})[row["book_state"]] = row
    faults = {one: _fault(book, one, rows.get(one.thing, {})) for one in lines}
    gone = [one for one, fault in faults.items() if fault in MAY_BE_ERASED and book.erasable]
    erasures = Erasures({UUID(one.thing) for one in gone})
    for line, fault in faults.items():
        if line in gone and erasures.tell_of(UUID(line.thing), book.erasable):
            continue
        if fault:
            yield Difference(book.store, None, f"row {line.thing}: {fault}")


GONE: Final = "it was closed, and is gone, and nobody had it erased"
HIDDEN: Final = "what it is held to in the books is gone, and nobody had it erased"
SHOWN: Final = "what it is held to in the books is gone, as if it were erased, and it is not"
MAY_BE_ERASED: Final = (GONE, HIDDEN)


def _fault(book: Book, line: BookLine, states: Mapping[str, Mapping[str, Any]]) -> str | None:
    """What is wrong with the row that a line is about, given its states that are there now."""
    row, secret = states.get(line.state), getattr(line, "secret", None)
    if row is None:
        return None if _went_on(book, line, states) else GONE
    if secret is None:
        return HIDDEN if row.get("name") == ERASED_NAME else SHOWN
    if line_commitment(bytes(secret.salt), book.says(row)) != bytes(line.commitment):
        return f"it is not what was closed: {', '.join(book.columns)}"
    return None


def _went_on(book: Book, line: BookLine, states: Iterable[str]) -> bool:
    """Whether the row is in a later state by now."""
    return book.changes and any(int(one) > int(line.state) for one in states)


def check_records() -> Iterator[Difference]:
    """Records that people edit are as their last edit left them."""
    shared = {
        Animal: ("collection_id", "name", "rack", "description", "hold_off", "version"),
        Collection: ("keeper_id", "name", "version"),
        Keeper: ("is_active", "version"),
    }
    for model, columns in shared.items():
        for pk in _unlike_history(model, columns):
            what = f"row {pk}: it is not as its last edit left it"
            yield Difference(model._meta.db_table, None, what)


def _unlike_history(model: type[Model], columns: tuple[str, ...]) -> Iterator[Any]:
    past = model.history.model.objects.filter(id=OuterRef("pk"))  # type: ignore[attr-defined]
    same = past.filter(**{name: OuterRef(name) for name in columns})
    later = past.filter(version__gt=OuterRef("version"))
    found = model._base_manager.exclude(Exists(same) & ~Exists(later))
    return found.order_by("pk").values_list("pk", flat=True).iterator()


def check_letters() -> Iterator[Difference]:
    """A letter that is said to have been sent was tried, and at some time."""
    sent = Letter.objects.filter(state__in=(Letter.State.SENT, Letter.State.RETURNED))
    for pk in (sent.filter(sent_at=None) | sent.filter(attempts=0)).values_list("pk", flat=True):
        yield Difference(Letter._meta.db_table, None, f"row {pk}: sent, and never tried")

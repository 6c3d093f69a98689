"""Which line names the columns, and what each of them holds: a guess, for its keeper to change."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from scalewitness.domain.tables.days import see_day
from scalewitness.domain.tables.headings import MANY, REASON, field_headed, headings_in
from scalewitness.domain.tables.sheets import Cell, ListRow, Worksheet
from scalewitness.domain.tables.species_names import is_species
from scalewitness.domain.tables.words import NOTHING, see_sex, see_transponder, split_count

_TOP: Final = 30
"""Rows among which the headings are sought."""
_SAMPLES: Final = 3
_LOOKED_AT: Final = 300
"""Filled cells of a column that tell what it holds."""
_MOST: Final = 0.6
"""Share of a column's cells that must look alike for it to be taken for that (our judgement)."""


class Column(Struct, frozen=True):
    """``field``: what it was taken to hold, empty where it is left out. ``by_content``: for what
    stands in it, not for its heading. ``hidden``: the sheet does not show it. ``by_hand``: its
    keeper chose the field."""

    index: int
    heading: str
    field: str
    by_content: bool
    samples: tuple[str, ...]
    hidden: bool = False
    by_hand: bool = False

    @property
    def title(self) -> str:
        return self.heading or f"Column {_letters(self.index)}"


class Layout(Struct, frozen=True):
    """``head``: the index of the row that names the columns; -1 where none does."""

    head: int
    columns: tuple[Column, ...]


def best_sheet(sheets: Sequence[Worksheet]) -> int:
    """The index of the one that looks most like a list of animals."""

    def rank(sheet: Worksheet) -> tuple[int, bool, int]:
        named = max((headings_in(row.texts) for row in sheet.rows[:_TOP]), default=0)
        return named, not sheet.hidden, sheet.filled

    return max(range(len(sheets)), key=lambda index: rank(sheets[index]))


def lay_out(sheet: Worksheet, today: date) -> Layout:
    """Find the headings, and guess each column by its heading and by what stands in it."""
    head = _head(sheet)
    headings = sheet.rows[head].texts if head >= 0 else ()
    body = [row for row in sheet.rows[head + 1 :] if not row.blank and row.why is None]
    found: list[Column] = []
    for index in range(_width(sheet)):
        cells = [
            row.cells[index] for row in body if index < len(row.cells) and row.cells[index].text
        ]
        heading = headings[index] if index < len(headings) else ""
        if cells or heading:
            column = _column(index, heading, cells, today)
            found.append(replace(column, hidden=index in sheet.hidden_columns))
    return Layout(head, tuple(_each_once(found)))


def _head(sheet: Worksheet) -> int:
    """The row that names most columns. One that names a single one must be the first in which more
    than one cell is filled: “no” also stands in lists."""
    named = [headings_in(row.texts) for row in sheet.rows[:_TOP]]
    best = max(named, default=0)
    if best > 1 or (best and _width(sheet) == 1):
        return named.index(best)
    filled = (index for index, row in enumerate(sheet.rows[:_TOP]) if sum(map(bool, row.texts)) > 1)
    first = next(filled, -1)
    return first if first >= 0 and named[first] else -1


def _width(sheet: Worksheet) -> int:
    return max((len(row.cells) for row in sheet.rows), default=0)


def _column(index: int, heading: str, cells: Sequence[Cell], today: date) -> Column:
    named = field_headed(heading)
    samples = tuple(dict.fromkeys(cell.text for cell in cells))[:_SAMPLES]
    if heading.strip() == REASON:
        return Column(index, heading, "", False, samples)
    content = "" if named not in ("", "tag", "name") else _by_content(cells[:_LOOKED_AT], today)
    if content == "hatched" and heading:
        content = ""  # a day of what, its heading does not say
    # A code is known by its shape, whatever its column is called.
    if content and (not named or (content == "transponder" and named in ("tag", "name"))):
        return Column(index, heading, content, True, samples)
    return Column(index, heading, named, False, samples)


def _by_content(cells: Sequence[Cell], today: date) -> str:
    looks: Mapping[str, Callable[[Cell], bool]] = {
        "transponder": lambda cell: bool(see_transponder(cell).code),
        "species": lambda cell: is_species(split_count(cell.text)[1]),
        "sex": lambda cell: see_sex(cell).sex in ("male", "female"),
        "hatched": lambda cell: cell.kind == "day" or _is_day(cell, today),
    }
    given = [cell for cell in cells if cell.text.lower() not in NOTHING]
    for field, looks_so in looks.items():
        if given and sum(map(looks_so, given)) >= _MOST * len(given):
            return field
    return ""


def _is_day(cell: Cell, today: date) -> bool:
    return cell.kind == "text" and len(cell.text) >= 6 and see_day(cell, today) is not None


def _each_once(columns: Sequence[Column]) -> list[Column]:
    """Of several columns for one field the first that is headed so is kept."""
    taken: dict[str, int] = {}
    for column in sorted(columns, key=lambda one: (one.by_content, one.index)):
        if column.field and column.field not in MANY:
            taken.setdefault(column.field, column.index)
    return [
        one
        if one.field in ("", *MANY) or taken[one.field] == one.index
        else replace(one, field="", by_content=False)
        for one in columns
    ]


def is_heading(row: ListRow, head: ListRow) -> bool:
    """Whether a row names the columns once more, as at the top of each printed page."""
    named = headings_in(row.texts)
    filled = {(index, text) for index, text in enumerate(row.texts) if text}
    repeated = named >= 2 and filled <= set(enumerate(head.texts))
    return repeated or row.texts == head.texts or named >= max(3, headings_in(head.texts))


def _letters(index: int) -> str:
    """As spreadsheets call their columns."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(65 + rest) + letters
    return letters

"""A file as it was read: sheets of rows of cells, nothing interpreted yet."""

from typing import Final, Literal

from msgspec import Struct

MOST_COLUMNS: Final = 100
_UNSEEN: Final = dict.fromkeys((0x200B, 0xFEFF)) | dict.fromkeys((0xA0, 0x202F), " ")
"""What comes along where cells are copied from web pages, and nobody sees."""

Kind = Literal["text", "number", "day", "dated", "other"]
"""What the file says that a cell is; everything in a CSV file is text. ``dated``: a number so small
that nobody meant the day or time which its format shows."""


class Unreadable(ValueError):
    """A file that no line can be taken from; the text says why, and what would do."""


class Cell(Struct, frozen=True, array_like=True):
    """``text`` as a keeper would type it: a day as YYYY-MM-DD, a number without an exponent.
    ``shown``: what the sheet shows of a number or a day, where its format says so; empty where that
    is its text, or cannot be told."""

    text: str = ""
    kind: Kind = "text"
    shown: str = ""


def text_cell(text: str) -> Cell:
    """Of what somebody typed, without what nobody sees of it."""
    return Cell(text.translate(_UNSEEN).strip())


class ListRow(Struct, frozen=True, array_like=True):
    """``number``: of its first line in the file, from 1. ``lines``: of a CSV file, as they stood.
    ``why``: it is no good as it is, and has no cells. ``hidden``: the sheet does not show it."""

    number: int
    cells: tuple[Cell, ...]
    lines: tuple[str, ...] = ()
    why: str | None = None
    hidden: bool = False

    @property
    def texts(self) -> tuple[str, ...]:
        return tuple(cell.text for cell in self.cells)

    @property
    def blank(self) -> bool:
        return self.why is None and not any(self.texts)


class Worksheet(Struct, frozen=True, array_like=True):
    """``hidden``: the workbook does not show it; ``hidden_columns``: those by index that it does
    not show."""

    name: str
    rows: tuple[ListRow, ...]
    hidden: bool = False
    hidden_columns: tuple[int, ...] = ()

    @property
    def filled(self) -> int:
        """Rows in which anything stands."""
        return sum(not row.blank for row in self.rows)


class ListFile(Struct, frozen=True):
    """``how`` it was read, in words: the encoding and what separates the cells, or the kind of
    workbook. ``is_csv``: its lines can be given back as they stood."""

    how: str
    sheets: tuple[Worksheet, ...]
    is_csv: bool = False

"""A file as it was read: sheets of rows of cells, nothing interpreted yet."""

from typing import Literal

from msgspec import Struct

Kind = Literal["text", "number", "day", "other"]
"""What the file says that a cell is; everything in a CSV file is text."""


class Unreadable(ValueError):
    """A file that no line can be taken from; the text says why, and what would do."""


class Cell(Struct, frozen=True, array_like=True):
    """``text`` as a keeper would type it: a day as YYYY-MM-DD, a number without an exponent."""

    text: str = ""
    kind: Kind = "text"


class ListRow(Struct, frozen=True, array_like=True):
    """``number``: of its first line in the file, from 1. ``lines``: of a CSV file, as they stood.
    ``why``: it is no good as it is, and has no cells."""

    number: int
    cells: tuple[Cell, ...]
    lines: tuple[str, ...] = ()
    why: str | None = None

    @property
    def texts(self) -> tuple[str, ...]:
        return tuple(cell.text for cell in self.cells)

    @property
    def blank(self) -> bool:
        return self.why is None and not any(self.texts)


class Worksheet(Struct, frozen=True, array_like=True):
    """``hidden``: the workbook does not show it."""

    name: str
    rows: tuple[ListRow, ...]
    hidden: bool = False

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

"""The lines of a CSV file, none of them lost: each is in one record, blank, or no good.

A line ends at CR LF, LF or CR, as RFC 4180 and its forerunners have it; any other mark that
some program breaks lines at is part of its cell. A quote means something only at the beginning
of a cell, so an inch mark within one is text. A quoted cell may go on over several lines; one
that is not closed, or that swallows what would be a whole line by itself, costs the line it
opened in, and no other.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

LONGEST_CELL = 100_000
"""Characters; a text on record has 4,000 at most (our judgement, an input guard only)."""
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\n|\r|\Z)")


@dataclass(frozen=True, slots=True)
class Record:
    """``number``: of its first line in the file, counted from 1; ``lines`` as they stood.
    ``cells`` is empty where ``why`` says that it is no good."""

    number: int
    lines: tuple[str, ...]
    cells: list[str]
    why: str | None = None

    @property
    def text(self) -> str:
        return "".join(self.lines)

    @property
    def blank(self) -> bool:
        return not self.text.strip()


def lines_of(text: str) -> list[str]:
    """With their ends; put together again they are the text."""
    return [line for line in _LINE.findall(text) if line]


def records(lines: Sequence[str], first: int, width: int, delimiter: str = ",") -> Iterator[Record]:
    """Every line from index ``first`` on, in records; ``width``: the cells of a whole one."""
    place = first
    while place < len(lines):
        found = record(lines, place, width, delimiter)
        yield found
        place += len(found.lines)


def record(lines: Sequence[str], place: int, width: int = 0, delimiter: str = ",") -> Record:
    """The record that begins at the index ``place``; without a ``width`` a quoted cell may
    swallow anything."""
    alone = (lines[place],)
    if not alone[0].strip():
        return Record(place + 1, alone, [])
    try:
        cells, count = _parsed(lines, place, delimiter)
    except csv.Error as fault:
        return Record(place + 1, alone, [], _why(str(fault)))
    taken = tuple(lines[place : place + count])
    if width and any(_is_whole(line, width, delimiter) for line in taken[1:]):
        return Record(place + 1, alone, [], _OPEN)
    if any(len(cell) > LONGEST_CELL for cell in cells):
        return Record(place + 1, alone, [], f"A cell has more than {LONGEST_CELL} characters.")
    if any("\0" in cell for cell in cells):
        return Record(place + 1, taken, [], "A cell has a NUL character.")
    return Record(place + 1, taken, cells)


_OPEN = "A cell opens with a quote that is not closed in its line, or not at all."


def _why(fault: str) -> str:
    if "unexpected end of data" in fault:
        return _OPEN
    if "field larger" in fault:
        return f"A cell has more than {LONGEST_CELL} characters, or its quote is not closed."
    if "expected after" in fault:
        return f"{_OPEN} A quote within a quoted cell is written twice."
    return f"Not CSV: {fault}."


def _parsed(lines: Sequence[str], place: int, delimiter: str) -> tuple[list[str], int]:
    """The cells and how many lines they took.

    Raises:
        csv.Error: what begins there is no record.
    """
    count = 0

    def counted() -> Iterator[str]:
        nonlocal count
        for index in range(place, len(lines)):
            count += 1
            yield lines[index]

    return next(csv.reader(counted(), strict=True, delimiter=delimiter)), count


def _is_whole(line: str, width: int, delimiter: str) -> bool:
    """Whether a line that a quoted cell swallowed would be a record by itself."""
    return len(cells_alone(line, delimiter)) == width


def cells_alone(line: str, delimiter: str) -> list[str]:
    """The cells of a line taken by itself; none where it is no record."""
    try:
        return _parsed([line], 0, delimiter)[0]
    except csv.Error:
        return []

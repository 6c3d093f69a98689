"""XLSX and ODS workbooks: values by calamine, and beside them what the sheet shows and hides. No
formula is computed, no link is followed.
"""

import io
import zlib
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Final
from zipfile import BadZipFile, ZipFile

from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetMetadata,
    SheetVisibleEnum,
)

from scalewitness.domain.tables.number_formats import day_shown, number_shown
from scalewitness.domain.tables.parts import SheetParts, parts_of
from scalewitness.domain.tables.sheets import (
    MOST_COLUMNS,
    Cell,
    ListFile,
    ListRow,
    Unreadable,
    Worksheet,
    text_cell,
)

WORKBOOKS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""How the files of workbooks begin."""
LARGEST_UNPACKED: Final = 100_000_000
"""Bytes of a workbook once unpacked, which is what a reader holds (our judgement)."""
FAULT: Final = "#N/A"
"""What stands where a formula has no answer: calamine leaves such a cell blank, and an animal would
be stored without what ought to stand there."""
_LONGEST_NUMBER: Final = 1e21
_DAMAGED: Final = "The workbook is damaged. Save it anew, or as CSV."


def read_workbook(content: bytes) -> ListFile:
    """Raises Unreadable."""
    if not content.startswith(b"PK"):
        raise Unreadable("It is an old kind of workbook. Save it as XLSX.")
    how, parts = _unpacked(content)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets = tuple(
            _worksheet(book.get_sheet_by_name(one.name), one, parts.get(one.name, SheetParts()))
            for one in book.sheets_metadata
        )
    except CalamineError as fault:
        if "password" in str(fault).lower():
            raise Unreadable("The workbook has a password. Save it without one.") from None
        raise Unreadable("It is no workbook that can be read. Save it as XLSX or CSV.") from None
    return ListFile(how, sheets)


def _unpacked(content: bytes) -> tuple[str, dict[str, SheetParts]]:
    """What the parts of a packed file are, and what they say of each sheet."""
    try:
        book = ZipFile(io.BytesIO(content))
    except BadZipFile:
        raise Unreadable(_DAMAGED) from None
    if sum(part.file_size for part in book.infolist()) > LARGEST_UNPACKED:
        raise Unreadable("The workbook is too large once unpacked. Save the sheet as CSV.")
    packed = any(name.startswith("xl/") for name in book.namelist())
    try:
        return f"an {'XLSX' if packed else 'ODS'} workbook", parts_of(book)
    except (BadZipFile, NotImplementedError, RuntimeError, zlib.error):
        raise Unreadable(_DAMAGED) from None


def _worksheet(sheet: CalamineSheet, about: SheetMetadata, parts: SheetParts) -> Worksheet:
    hidden = about.visible != SheetVisibleEnum.Visible
    columns = tuple(sorted(parts.hidden_columns))
    return Worksheet(about.name, _rows(sheet, parts), hidden, columns)


def _rows(sheet: CalamineSheet, parts: SheetParts) -> tuple[ListRow, ...]:
    if sheet.total_width > MOST_COLUMNS:
        raise Unreadable(f"A sheet has more than {MOST_COLUMNS} columns.")
    cells = [
        [_cell(value, (row, column), parts) for column, value in enumerate(values)]
        for row, values in enumerate(sheet.to_python(skip_empty_area=False))
    ]
    for row, column in parts.faults:
        if row < len(cells) and column < len(cells[row]) and not cells[row][column].text:
            cells[row][column] = Cell(FAULT, "other")
    for (top, column), (bottom, _) in sheet.merged_cell_ranges or ():
        for row in range(top + 1, min(bottom + 1, len(cells))):
            cells[row][column] = cells[top][column]
    return _to_last(
        ListRow(row + 1, tuple(one), hidden=row in parts.hidden_rows)
        for row, one in enumerate(cells)
    )


def _to_last(rows: Iterable[ListRow]) -> tuple[ListRow, ...]:
    """To the last row in which anything stands."""
    kept = list(rows)
    while kept and kept[-1].blank:
        kept.pop()
    return tuple(kept)


_FIRST_DAY: Final = date(1900, 12, 31)
"""No snake's list goes back so far: a day up to it is a small number that a format shows as one."""


def _cell(value: object, place: tuple[int, int], parts: SheetParts) -> Cell:
    if isinstance(value, str):
        return text_cell(value)
    if isinstance(value, bool):
        return Cell(str(value).upper(), "other")
    if isinstance(value, int | float):
        return _with_shown(_number(value), place, parts)
    day = _moment(value, parts.day_0)
    if day is None:
        return Cell(str(value), "other")
    if day.date() > _FIRST_DAY:
        format = parts.formats.get(place, "")
        shown = parts.shown.get(place) or (day_shown(day.date(), format) if format else "")
        return Cell(day.date().isoformat(), "day", shown)
    number = (day - datetime.combine(parts.day_0, time())) / timedelta(days=1)
    return Cell(_number(round(number, 3)), "dated", parts.shown.get(place, ""))


def _moment(value: object, day_0: date) -> datetime | None:
    """A day with its time; None where it is something else."""
    if isinstance(value, datetime):
        return value.replace(tzinfo=None)
    if isinstance(value, date):
        return datetime.combine(value, time())
    if isinstance(value, time):
        return datetime.combine(day_0, value)
    return None


def _with_shown(text: str, place: tuple[int, int], parts: SheetParts) -> Cell:
    format = parts.formats.get(place)
    shown = parts.shown.get(place) or (number_shown(text, format) if format else "")
    return Cell(text, "number", "" if shown == text else shown)


def _number(value: float) -> str:
    if abs(value) < _LONGEST_NUMBER and value == int(value):
        return str(int(value))
    return f"{value:.15g}"

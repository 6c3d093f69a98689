"""The bytes of a file become rows of cells: XLSX and ODS workbooks by calamine, CSV by
Python's own reader. Values only: no formula is computed, no link is followed.
"""

import csv
import io
import re
import zlib
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import Final
from zipfile import BadZipFile, ZipFile

from charset_normalizer import from_bytes
from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetMetadata,
    SheetVisibleEnum,
)

from scalewitness.domain.tables.csvlines import cells_alone, lines_of, records
from scalewitness.domain.tables.headings import headings_in
from scalewitness.domain.tables.sheets import Cell, ListFile, ListRow, Unreadable, Worksheet

LARGEST_FILE: Final = 4_000_000
"""Bytes; 10,000 lines of a breeder's list have two million (our judgement)."""
LARGEST_UNPACKED: Final = 100_000_000
"""Bytes of a workbook once unpacked, which is what a reader holds (our judgement)."""
MOST_ROWS: Final = 10_000
"""Of one file; the largest breeders there are keep some thousands (our judgement)."""
MOST_COLUMNS: Final = 100
MARK: Final = "\ufeff"
"""What some programs put before UTF-8, and need to know it again."""

_WORKBOOKS: Final = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_ENCODINGS: Final = ["cp1252", "cp1250", "mac_roman", "cp850"]
"""Those that spreadsheets write besides UTF-8 and UTF-16, for the languages of Europe."""
_DELIMITERS: Final = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_LOOKED_AT: Final = 60
"""Lines that tell what separates the cells."""
_UNSEEN: Final = dict.fromkeys((0x200B, 0xFEFF)) | dict.fromkeys((0xA0, 0x202F), " ")
"""What comes along where cells are copied from web pages, and nobody sees."""
_LONGEST_NUMBER: Final = 1e21


def read_table(content: bytes) -> ListFile:
    """Every sheet of a file, whatever kind of table it is.

    Raises:
        Unreadable: it is none, or larger than what is taken.
    """
    if len(content) > LARGEST_FILE:
        raise Unreadable(f"The file is larger than {LARGEST_FILE // 1_000_000} MB. Split it.")
    if not content.strip():
        raise Unreadable("The file is empty.")
    table = _workbook(content) if content.startswith(_WORKBOOKS) else _csv(content)
    if not any(sheet.filled for sheet in table.sheets):
        raise Unreadable("Nothing stands in the file.")
    if sum(sheet.filled for sheet in table.sheets) > MOST_ROWS:
        raise Unreadable(f"The file has more than {MOST_ROWS} lines. Split it.")
    return table


# --- workbooks ------------------------------------------------------------------------

_Place = tuple[int, int]
"""A row and a column, from 0."""
_FAULTY: Final = re.compile(
    rb'<c\s[^>]*?\bt="e"[^>]*>'
    rb"|<c\s[^>]*>\s*<f\b[^>]*(?:/>|>[^<]*</f>)\s*(?:<v\s*/>|<v>\s*</v>)?\s*</c>"
)
"""A cell of XLSX whose formula failed, or was never worked out."""
_NAMED: Final = re.compile(rb'\br="([A-Z]{1,3})([0-9]{1,7})"')
FAULT: Final = "#N/A"
"""What stands where a formula has no answer: calamine leaves such a cell blank, and an animal would
be stored without what ought to stand there."""


def _workbook(content: bytes) -> ListFile:
    if not content.startswith(b"PK"):
        raise Unreadable("It is an old kind of workbook. Save it as XLSX.")
    how, faults = _unpacked(content)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets = tuple(
            Worksheet(about.name, _rows(book.get_sheet_by_name(about.name), faults), _hides(about))
            for about in book.sheets_metadata
        )
    except CalamineError as fault:
        if "password" in str(fault).lower():
            raise Unreadable("The workbook has a password. Save it without one.") from None
        raise Unreadable("It is no workbook that can be read. Save it as XLSX or CSV.") from None
    return ListFile(how, sheets)


def _hides(about: SheetMetadata) -> bool:
    return about.visible != SheetVisibleEnum.Visible


def _unpacked(content: bytes) -> tuple[str, frozenset[_Place]]:
    """What the parts of a packed file are, and in which cells of any sheet a formula failed."""
    try:
        book = ZipFile(io.BytesIO(content))
    except BadZipFile:
        raise Unreadable("The workbook is damaged. Save it anew, or as CSV.") from None
    if sum(part.file_size for part in book.infolist()) > LARGEST_UNPACKED:
        raise Unreadable("The workbook is too large once unpacked. Save the sheet as CSV.")
    names = [name for name in book.namelist() if name.startswith("xl/worksheets/")]
    if not names:
        return "an ODS workbook", frozenset()
    try:
        parts = [book.read(name) for name in names]
    except (BadZipFile, NotImplementedError, RuntimeError, zlib.error):
        raise Unreadable("The workbook is damaged. Save it anew, or as CSV.") from None
    cells = [found[0] for part in parts for found in _FAULTY.finditer(part)]
    return "an XLSX workbook", frozenset(filter(None, map(_place, cells)))


def _place(cell: bytes) -> _Place | None:
    found = _NAMED.search(cell)
    if found is None:
        return None
    column = 0
    for letter in found[1]:
        column = column * 26 + letter - 64
    return int(found[2]) - 1, column - 1


def _rows(sheet: CalamineSheet, faults: frozenset[_Place]) -> tuple[ListRow, ...]:
    if sheet.total_width > MOST_COLUMNS:
        raise Unreadable(f"A sheet has more than {MOST_COLUMNS} columns.")
    cells = [list(map(_cell, values)) for values in sheet.to_python(skip_empty_area=False)]
    for row, column in faults:
        if row < len(cells) and column < len(cells[row]) and not cells[row][column].text:
            cells[row][column] = Cell(FAULT, "other")
    for (top, column), (bottom, _) in sheet.merged_cell_ranges or ():
        for row in range(top + 1, min(bottom + 1, len(cells))):
            cells[row][column] = cells[top][column]
    return _from_first(ListRow(number, tuple(row)) for number, row in enumerate(cells, 1))


def _from_first(rows: Iterable[ListRow]) -> tuple[ListRow, ...]:
    """From the first row in which anything stands to the last."""
    kept = list(rows)
    while kept and kept[-1].blank:
        kept.pop()
    return tuple(kept)


def _cell(value: object) -> Cell:
    if isinstance(value, str):
        return _text_cell(value)
    if isinstance(value, bool):
        return Cell(str(value).upper(), "other")
    if isinstance(value, int | float):
        return Cell(_number(value), "number")
    if isinstance(value, datetime):
        return Cell(value.date().isoformat(), "day")
    if isinstance(value, date):
        return Cell(value.isoformat(), "day")
    return Cell(str(value), "other")


def _number(value: float) -> str:
    if abs(value) < _LONGEST_NUMBER and value == int(value):
        return str(int(value))
    return f"{value:.15g}"


# --- CSV ------------------------------------------------------------------------------


def _csv(content: bytes) -> ListFile:
    text, encoding = _decoded(content)
    mark = MARK if text.startswith(MARK) else ""
    lines = lines_of(text.removeprefix(MARK))
    delimiter, width = _shape([one for one in lines if one.strip()][:_LOOKED_AT])
    rows = [
        ListRow(
            one.number,
            tuple(_text_cell(plain(cell.strip())) for cell in one.cells),
            one.lines,
            one.why,
        )
        for one in records(lines, 0, width, delimiter)
    ]
    if any(len(one.cells) > MOST_COLUMNS for one in rows):
        raise Unreadable(f"A line has more than {MOST_COLUMNS} cells.")
    if mark and rows:
        first = rows[0]
        rows[0] = ListRow(
            first.number, first.cells, (mark + first.lines[0], *first.lines[1:]), first.why
        )
    how = f"CSV in {encoding}, separated by {_DELIMITERS[delimiter]}"
    return ListFile(how, (Worksheet("", tuple(rows)),), is_csv=True)


def _typed(text: str) -> Cell:
    return _text_cell(plain(text.strip()))


def _text_cell(text: str) -> Cell:
    return Cell(text.translate(_UNSEEN).strip())


def _decoded(content: bytes) -> tuple[str, str]:
    """The text, and what the encoding is called."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _strictly(content, "utf-16"), "UTF-16"
    if content[:200].count(0) * 3 > len(content[:200]):
        little = content[1:2] == b"\0"
        return _strictly(content, "utf-16-le" if little else "utf-16-be"), "UTF-16"
    try:
        return content.decode("utf-8"), "UTF-8"
    except UnicodeDecodeError:
        best = from_bytes(content, cp_isolation=_ENCODINGS).best()
    if best is not None:
        return str(best), best.encoding.replace("_", "-").upper()
    if 0 in content:
        raise Unreadable("It is no list that can be read. Save it as XLSX, or as CSV in UTF-8.")
    return content.decode("cp1252", "replace"), "CP1252"


def _strictly(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError:
        raise Unreadable("The file breaks off, or is no table. Save it anew.") from None


def _shape(lines: Sequence[str]) -> tuple[str, int]:
    """What separates the cells, and how many a whole line has: by the line that names columns,
    else by what most lines agree on."""
    ranked = [(*_agreement(lines, one), one) for one in _DELIMITERS]
    *_, width, delimiter = max(ranked, key=lambda one: one[:3])
    return delimiter, width


def _agreement(lines: Sequence[str], delimiter: str) -> tuple[int, int, int]:
    """For a separator: columns that some line names, lines that agree, and their cells."""
    cells = [cells_alone(one, delimiter) for one in lines]
    named, width = max(((headings_in(one), len(one)) for one in cells), default=(0, 0))
    if named:
        return named, sum(len(one) == width for one in cells), width
    counts = Counter(len(one) for one in cells if len(one) > 1)
    width, agree = max(counts.items(), key=lambda one: one[1], default=(1, 0))
    return 0, agree, width


# --- cells that no spreadsheet computes ---------------------------------------------------

_COMPUTED: Final = ("=", "+", "-", "@", "\t", "\r")


def safe(cell: object) -> str:
    """A cell that no spreadsheet computes (OWASP, "CSV injection")."""
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.lstrip("'").startswith(_COMPUTED) else text


def plain(cell: str) -> str:
    """A cell as it was before :func:`safe`."""
    quoted = cell.startswith("'") and cell.lstrip("'").startswith(_COMPUTED)
    return cell[1:] if quoted else cell


def written(columns: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A CSV file, its cells safe."""
    file = io.StringIO()
    out = csv.writer(file, lineterminator="\r\n")
    out.writerow([safe(one) for one in columns])
    out.writerows([safe(cell) for cell in row] for row in rows)
    return file.getvalue()

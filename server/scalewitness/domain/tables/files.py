"""The bytes of a file become rows of cells: CSV by Python's own reader, others as `workbooks`."""

import csv
import io
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from charset_normalizer import from_bytes

from scalewitness.domain.tables.csvlines import cells_alone, lines_of, records
from scalewitness.domain.tables.headings import headings_in
from scalewitness.domain.tables.sheets import (
    MOST_COLUMNS,
    Cell,
    ListFile,
    ListRow,
    Unreadable,
    Worksheet,
    text_cell,
)
from scalewitness.domain.tables.workbooks import WORKBOOKS, read_workbook

LARGEST_FILE: Final = 4_000_000
"""Bytes; 10,000 lines of a breeder's list have two million (our judgement)."""
MOST_ROWS: Final = 10_000
"""Of one file; the largest breeders there are keep some thousands (our judgement)."""
MARK: Final = "\ufeff"
"""What some programs put before UTF-8, and need to know it again."""

_ENCODINGS: Final = ["cp1252", "cp1250", "mac_roman", "cp850"]
"""Those that spreadsheets write besides UTF-8 and UTF-16, for the languages of Europe."""
_DELIMITERS: Final = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
_LOOKED_AT: Final = 60
"""Lines that tell what separates the cells."""


def read_table(content: bytes) -> ListFile:
    """Every sheet of a file, whatever kind of table it is.

    Raises:
        Unreadable: it is none, or larger than what is taken.
    """
    if len(content) > LARGEST_FILE:
        raise Unreadable(f"The file is larger than {LARGEST_FILE // 1_000_000} MB. Split it.")
    if not content.strip():
        raise Unreadable("The file is empty.")
    table = read_workbook(content) if content.startswith(WORKBOOKS) else _csv(content)
    if not any(sheet.filled for sheet in table.sheets):
        raise Unreadable("Nothing stands in the file.")
    if sum(sheet.filled for sheet in table.sheets) > MOST_ROWS:
        raise Unreadable(f"The file has more than {MOST_ROWS} lines. Split it.")
    return table


# --- CSV ------------------------------------------------------------------------------


def _csv(content: bytes) -> ListFile:
    text, encoding = _decoded(content)
    mark = MARK if text.startswith(MARK) else ""
    lines = lines_of(text.removeprefix(MARK))
    delimiter, width = _shape([one for one in lines if one.strip()][:_LOOKED_AT])
    rows = [
        ListRow(
            one.number,
            tuple(text_cell(plain(cell.strip())) for cell in one.cells),
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
    return text_cell(plain(text.strip()))


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

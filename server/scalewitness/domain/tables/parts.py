"""What a packed workbook says of its cells besides their values: what is hidden, what a cell shows,
where a formula has no answer. Its XML goes through expat, which expands no entities here.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from typing import Any, Final
from xml.parsers.expat import ExpatError, ParserCreate
from zipfile import ZipFile

from msgspec import Struct, field

from scalewitness.domain.tables.number_formats import BUILT_IN
from scalewitness.domain.tables.sheets import MOST_COLUMNS, Unreadable

Place = tuple[int, int]
"""A row and a column, from 0."""
Attributes = Mapping[str, str]
MOST_PLACES: Final = 1_000_000
"""Cells that are told apart; those of the largest list that is taken (our judgement)."""


class SheetParts(Struct):
    """``formats`` of XLSX and ``shown`` of ODS, by place; ``faults``: where a formula failed, or
    was never worked out; ``day_0``: the day from which days are counted."""

    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    formats: dict[Place, str] = field(default_factory=dict)
    shown: dict[Place, str] = field(default_factory=dict)
    faults: set[Place] = field(default_factory=set)
    day_0: date = date(1899, 12, 31)


def parts_of(book: ZipFile) -> dict[str, SheetParts]:
    """Of each sheet, by its name."""
    if "content.xml" in book.namelist():
        return dict(_Tables(book.read("content.xml")).found)
    formats = _formats(book)
    return {
        name: _Sheet(book.read(part), formats).found
        for name, part in _sheets(book)
        if part in book.namelist()
    }


def _walk(
    xml: bytes,
    start: Callable[[str, Attributes], None],
    end: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Raises Unreadable where it is no XML, or declares what would have to be expanded."""
    parser: Any = ParserCreate()
    parser.buffer_text = True
    parser.EntityDeclHandler = _declared
    parser.StartElementHandler = lambda name, given: start(name.rpartition(":")[2], given)
    if end is not None:
        parser.EndElementHandler = lambda name: end(name.rpartition(":")[2])
    if text is not None:
        parser.CharacterDataHandler = text
    try:
        parser.Parse(xml, True)
    except ExpatError:
        raise Unreadable("It is no workbook that can be read. Save it as XLSX or CSV.") from None


def _declared(*_: object) -> None:
    raise Unreadable("It is no workbook that can be read. Save it as XLSX or CSV.")


# --- XLSX -----------------------------------------------------------------------------

_NAMED: Final = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_TRUE: Final = ("1", "true", "on")


def _sheets(book: ZipFile) -> Iterator[tuple[str, str]]:
    """Each sheet's name, and the part that it is in."""
    names, targets = [], {}

    def note(name: str, given: Attributes) -> None:
        if name == "sheet":
            id = next((value for key, value in given.items() if key.rpartition(":")[2] == "id"), "")
            names.append((given.get("name", ""), id))
        elif name == "Relationship":
            targets[given.get("Id", "")] = given.get("Target", "")

    for part in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels"):
        if part in book.namelist():
            _walk(book.read(part), note)
    for name, id in names:
        target = targets.get(id, "")
        yield name, target.removeprefix("/") if target.startswith("/") else f"xl/{target}"


def _formats(book: ZipFile) -> list[str]:
    """Of each style of a cell, the format; empty where it shows a value as it is."""
    own: dict[int, str] = {}
    styles: list[int] = []
    within = [""]

    def note(name: str, given: Attributes) -> None:
        if name in ("cellXfs", "cellStyleXfs"):
            within[0] = name
        elif name == "numFmt":
            own[_int(given.get("numFmtId"))] = given.get("formatCode", "")
        elif name == "xf" and within[0] == "cellXfs":
            styles.append(_int(given.get("numFmtId")))

    if "xl/styles.xml" in book.namelist():
        _walk(book.read("xl/styles.xml"), note)
    found = [own.get(one, BUILT_IN.get(one, "")) for one in styles]
    return ["" if one.lower() in ("general", "@") else one for one in found]


class _Sheet:
    """One sheet of XLSX, cell by cell."""

    def __init__(self, xml: bytes, formats: list[str]) -> None:
        self.found = SheetParts()
        self._formats = formats
        self._row, self._column = -1, -1
        self._fails = self._computed = self._in_value = self._has_value = False
        _walk(xml, self._start, self._end, self._text)

    def _start(self, name: str, given: Attributes) -> None:
        if name == "c":
            self._cell(given)
        elif name == "v":
            self._in_value = True
        elif name == "f":
            self._computed = True
        elif name == "row":
            self._row, self._column = _int(given.get("r"), self._row + 2) - 1, -1
            if given.get("hidden") in _TRUE:
                self.found.hidden_rows.add(self._row)
        elif name == "col" and given.get("hidden") in _TRUE:
            last = min(_int(given.get("max")), MOST_COLUMNS)
            self.found.hidden_columns.update(range(_int(given.get("min"), 1) - 1, last))

    def _cell(self, given: Attributes) -> None:
        named = _NAMED.fullmatch(given.get("r", ""))
        self._column = _column(named[1]) if named else self._column + 1
        self._fails = given.get("t") == "e"
        self._computed = self._in_value = self._has_value = False
        style = _int(given.get("s"))
        if 0 <= style < len(self._formats) and self._formats[style]:
            _put(self.found.formats, (self._row, self._column), self._formats[style])

    def _end(self, name: str) -> None:
        if name == "v":
            self._in_value = False
        elif name == "c" and (self._fails or (self._computed and not self._has_value)):
            self.found.faults.add((self._row, self._column))

    def _text(self, text: str) -> None:
        self._has_value |= self._in_value and bool(text.strip())


def _column(letters: str) -> int:
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - 64
    return column - 1


# --- ODS ------------------------------------------------------------------------------

_UNSEEN_ROWS: Final = ("collapse", "filter")
_CELLS: Final = ("table-cell", "covered-table-cell")
_ODS_DAY_0: Final = date(1899, 12, 30)
"""A day earlier than in XLSX, whose first days follow a mistake of old."""


class _Tables:
    """Every table of ODS, cell by cell."""

    def __init__(self, xml: bytes) -> None:
        self.found: dict[str, SheetParts] = {}
        self._sheet = SheetParts()
        self._row, self._rows, self._column, self._cells = 0, 1, 0, 1
        self._text: list[str] = []
        self._typed, self._aside, self._open = False, 0, False
        _walk(xml, self._start, self._end, self._noted)

    def _start(self, name: str, given: Attributes) -> None:
        if name == "table":
            self._sheet = SheetParts(day_0=_ODS_DAY_0)
            self.found.setdefault(_given(given, "name"), self._sheet)
            self._row = self._column = 0
        elif name == "table-column":
            times = _int(_given(given, "number-columns-repeated"), 1)
            if _given(given, "visibility") in _UNSEEN_ROWS:
                last = min(self._column + times, MOST_COLUMNS)
                self._sheet.hidden_columns.update(range(self._column, last))
            self._column += times
        elif name == "table-row":
            self._row_begins(given)
        elif name in _CELLS:
            self._cells = _int(_given(given, "number-columns-repeated"), 1)
            self._typed = _given(given, "value-type") not in ("", "string")
            self._text = []
        elif name == "annotation":
            self._aside += 1
        self._open = name in ("p", "span") and not self._aside

    def _row_begins(self, given: Attributes) -> None:
        self._rows, self._column = _int(_given(given, "number-rows-repeated"), 1), 0
        if _given(given, "visibility") in _UNSEEN_ROWS:
            last = min(self._row + self._rows, MOST_PLACES)
            self._sheet.hidden_rows.update(range(self._row, last))

    def _noted(self, text: str) -> None:
        if self._open:
            self._text.append(text)

    def _end(self, name: str) -> None:
        if name == "annotation":
            self._aside -= 1
        elif name == "table-row":
            self._row += self._rows
        elif name in _CELLS:
            if self._typed and self._text:
                for place in self._places():
                    _put(self._sheet.shown, place, "".join(self._text).strip())
            self._column += self._cells
        if name == "p":
            self._open = False

    def _places(self) -> Iterator[Place]:
        columns = range(self._column, min(self._column + self._cells, MOST_COLUMNS))
        for row in range(self._row, self._row + min(self._rows, MOST_COLUMNS)):
            yield from ((row, column) for column in columns)


def _given(attributes: Attributes, name: str) -> str:
    """An attribute, whatever stands for its namespace."""
    return next((text for key, text in attributes.items() if key.rpartition(":")[2] == name), "")


def _put(found: dict[Place, str], place: Place, text: str) -> None:
    if len(found) >= MOST_PLACES:
        raise Unreadable("The workbook is too large once unpacked. Save the sheet as CSV.")
    found[place] = text


def _int(text: str | None, otherwise: int = 0) -> int:
    return (
        int(text) if text and text.isascii() and text.isdecimal() and len(text) < 10 else otherwise
    )

"""Lists as keepers write them, laid out as on a day in November 2026."""

import io
from collections.abc import Mapping, Sequence
from datetime import date
from zipfile import ZIP_DEFLATED, ZipFile

from openpyxl import Workbook

from scalewitness.domain.tables.files import read_table
from scalewitness.domain.tables.lines import NOBODY, ByCode, ListLine
from scalewitness.domain.tables.plan import Answers, ImportPlan, plan_of

ODS = "application/vnd.oasis.opendocument.spreadsheet"
TODAY = date(2026, 11, 29)
SEXES = {"sex_from": "own"}
CHIP = "900012000001234"


def laid_out(content: bytes | str, known: ByCode = NOBODY, **replies: str) -> ImportPlan:
    """The plan of a file, with questions answered."""
    sent = content.encode() if isinstance(content, str) else content
    return plan_of(read_table(sent), Answers(replies=replies), known, TODAY)


def one(columns: Mapping[str, object], **replies: str) -> ListLine:
    """What becomes of a workbook's one line."""
    plan = laid_out(workbook([list(columns), list(columns.values())]), **replies)
    return plan.lines[1]


def workbook(
    rows: Sequence[Sequence[object]],
    title: str = "Animals",
    formats: Mapping[str, str] | None = None,
    hidden: Sequence[int | str] = (),
) -> bytes:
    """``formats`` by the name of the cell; ``hidden`` rows by number and columns by letter."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    for name, format in (formats or {}).items():
        sheet[name].number_format = format
    for one in hidden:
        if isinstance(one, int):
            sheet.row_dimensions[one].hidden = True
        else:
            sheet.column_dimensions[one].hidden = True
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def ods(rows: Sequence[Sequence[str]]) -> bytes:
    """A workbook of texts, as LibreOffice and others write it."""
    made = [
        "".join(
            '<table:table-cell office:value-type="string">'
            f"<text:p>{text}</text:p></table:table-cell>"
            for text in row
        )
        for row in rows
    ]
    return ods_of("".join(f"<table:table-row>{cells}</table:table-row>" for cells in made))


def ods_of(cells: str) -> bytes:
    """A workbook of these rows of one table (OpenDocument 1.3, part 3, 9)."""
    names = "".join(
        f' xmlns:{one}="urn:oasis:names:tc:opendocument:xmlns:{one}:1.0"'
        for one in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{names}><office:body><office:spreadsheet>'
        f'<table:table table:name="Animals">{cells}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    return packed({"mimetype": ODS, "META-INF/manifest.xml": "<m/>", "content.xml": content})


def packed(parts: Mapping[str, str]) -> bytes:
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as made:
        for name, text in parts.items():
            made.writestr(name, text)
    return file.getvalue()

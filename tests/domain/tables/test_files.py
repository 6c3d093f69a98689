"""Files of any kind: every row is in a line, and what is no list says so."""

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.tables.lists import TODAY, laid_out, ods, packed, workbook

from scalewitness.domain.tables.drafts import ContentIds, facts_of
from scalewitness.domain.tables.files import LARGEST_FILE, plain, read_table, safe, written
from scalewitness.domain.tables.plan import Answers, plan_of, refused_rows
from scalewitness.domain.tables.sheets import Unreadable

TEXT = st.text(st.characters(codec="cp1252", exclude_categories=["Cc", "Zs"]), max_size=12)
TAGS = st.integers(1, 9_999).map(lambda number: f"T{number}")
ROWS = st.lists(st.tuples(TAGS, TEXT, TEXT), min_size=1, max_size=12, unique_by=lambda row: row[0])


@given(
    ROWS,
    st.sampled_from(",;\t|"),
    st.sampled_from(["\n", "\r\n", "\r"]),
    st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)
@settings(max_examples=150)
def test_whatever_program_wrote_a_csv_file_its_cells_come_back(
    rows: list[tuple[str, str, str]], delimiter: str, end: str, quoting: int, encoding: str
) -> None:
    file = io.StringIO()
    out = csv.writer(file, delimiter=delimiter, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]
    out.writerow(["Tag", "Name", "Notes"])
    out.writerows(rows)
    table = read_table(file.getvalue().encode(encoding))
    read = [row.texts for row in table.sheets[0].rows[1:]]
    whole = encoding != "cp1252" or file.getvalue().isascii()
    if whole:
        assert read == [tuple(plain(cell) for cell in row) for row in rows]
    else:  # letters may be those of another encoding; lines and columns are not
        assert [row[0] for row in read] == [row[0] for row in rows]
        assert {len(row) for row in read} == {3}


@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_told_to_be_none(content: bytes) -> None:
    try:
        table = read_table(content)
    except Unreadable:
        return
    plan = plan_of(table, Answers(), {}, TODAY)
    assert len(plan.lines) == len(table.sheets[plan.sheet].rows)


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"  \n \n", "empty"),
        (b"x" * (LARGEST_FILE + 1), "larger than 4 MB"),
        (b"PK\x03\x04nonsense", "damaged"),
        (packed({"xl/workbook.xml": "<no"}), "no workbook"),
        (packed({"readme.txt": "hello"}), "no workbook"),
        (packed({"xl/worksheets/sheet1.xml": " " * 110_000_000}), "too large once unpacked"),
        (workbook([[f"c{n}" for n in range(120)]]), "100 columns"),
        (b"tag,name" + b"," * 120 + b"\nA1,Ada\n", "100 cells"),
        (b"tag\n" + b"A\n" * 10_001, "more than 10000 lines"),
        (workbook([[]]), "Nothing stands"),
        (b"\xd0\xcf\x11\xe0 old", "old kind of workbook"),
    ],
)
def test_what_is_no_list_or_too_much_is_refused_in_words(content: bytes, why: str) -> None:
    with pytest.raises(Unreadable, match=why):
        read_table(content)


def test_xlsx_ods_and_csv_come_to_the_same() -> None:
    rows = [["Tag", "Species", "Hatched"], ["A1", "bp", "2024-03-04"], ["A2", "corn", ""]]
    found = [laid_out(one(rows)) for one in (workbook, ods)]
    found.append(laid_out("\n".join(";".join(row) for row in rows)))
    assert len({tuple(line.draft for line in plan.lines) for plan in found}) == 1


def test_a_formula_that_was_never_worked_out_is_not_worked_out_here() -> None:
    """Blank to its reader: an animal would be stored without what ought to stand there."""
    plan = laid_out(workbook([["Tag", "Species", "Chip"], ["A1", "bp", "=1+1"], ["A2", "bp", ""]]))
    assert [line.draft.tag for line in plan.of("new") if line.draft] == ["A2"]


def test_what_was_refused_comes_back_with_why_and_no_cell_that_a_sheet_computes() -> None:
    text = 'tag,species,notes\n=cmd|calc,dragon,"=HYPERLINK(""x"")"\nA1,dragon,+1\nA2,bp,\n'
    plan = laid_out(text)
    reasons = {line.number: line.why for line in plan.of("cannot")}
    file = written(*refused_rows(plan, read_table(text.encode()), reasons))
    cells = [cell for row in csv.reader(io.StringIO(file)) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
    again = laid_out(file)
    assert [column.field for column in again.columns] == ["tag", "species", "description", ""]
    assert [line.row.texts[:3] for line in again.of("cannot")] == [
        line.row.texts for line in plan.of("cannot")
    ]


@given(st.text(max_size=8))
def test_a_cell_made_safe_is_read_back(text: str) -> None:
    assert plain(safe(text)) == text


def test_the_same_line_states_the_same_and_another_states_another() -> None:
    plan = laid_out("tag,species\nA1,bp\nA2,bp\n")
    first, second = (line.draft for line in plan.of("new"))
    assert first is not None
    assert second is not None
    times = "2026-11-29T10:00:00.000Z", "2026-11-30T10:00:00.000Z"
    ids = [
        [fact["id"] for fact in facts_of(one, "c", ContentIds("s", "c", one), now, "", {})]
        for one in (first, second)
        for now in times
    ]
    assert ids[0] == ids[1]
    assert not set(ids[0]) & set(ids[2])


def test_no_list_holds_anybodys_sex_as_a_check() -> None:
    plan = laid_out("tag,species,sex\nA1,bp,m\nA2,bp,f?\n", sex_from="seller")
    calls = [
        fact["body"]
        for line in plan.of("new")
        if line.draft
        for fact in facts_of(
            line.draft,
            "c",
            ContentIds("s", "c", line.draft),
            "2026-11-29T10:00:00.000Z",
            "seller",
            {},
        )
        if fact["kind"] == "call_made"
    ]
    assert [one["observed"] for one in calls] == [{"method": "statement", "source": "seller"}] * 2
    assert [one["sureness"] for one in calls] == ["fairly_sure", "unsure"]
    assert [one["told"] for one in calls] == ["male", "female"], "never blind"


def test_the_demo_has_a_list_that_takes_few_decisions() -> None:
    messy = Path(__file__).parents[3] / "fixtures_demo" / "lists" / "animals.xlsx"
    plan = laid_out(messy.read_bytes())
    assert len(plan.lines) > 300
    assert len(plan.questions) <= 11, "four more are needed to bring, to look and to confirm it"
    replies = {one.name: one.guess or one.options[0][0] for one in plan.questions}
    plan = laid_out(messy.read_bytes(), **replies | {"dated": "counts"})
    assert not plan.open, "and then none more"
    assert sum(len(one.draft.parents) == 2 for one in plan.of("new") if one.draft) == 36


def test_rows_have_the_numbers_that_a_spreadsheet_shows() -> None:
    plan = laid_out(workbook([[], [], ["", "Tag", "Species"], ["", "A1", "bp"]]))
    assert [(line.number, line.state) for line in plan.lines if not line.row.blank] == [
        (3, "aside"),
        (4, "new"),
    ]
    assert [column.index for column in plan.columns] == [1, 2]

"""What a sheet shows is compared with what it holds, and what it hides is asked about."""

import io
from datetime import date
from zipfile import ZipFile

import msgspec
import pytest
from tests.domain.tables.lists import CHIP, ODS, SEXES, laid_out, ods_of, packed, workbook
from tests.domain.tables.test_reading_lists import draft

from scalewitness.domain.tables.files import read_table
from scalewitness.domain.tables.lines import ListLine
from scalewitness.domain.tables.number_formats import day_shown, number_shown
from scalewitness.domain.tables.parts import parts_of
from scalewitness.domain.tables.sheets import Cell, Unreadable

HEAD = ["Tag", "Species", "Sex", "DOB", "Weight (g)", "Weighed", "Chip"]
WEIGHED = "2026-01-02"


@pytest.mark.parametrize(
    ("number", "format", "shown"),
    [
        ("1234.59", "####.#", "1234.6"),
        ("8.9", "#.000", "8.900"),
        (".631", "0.#", "0.6"),
        ("12", "#.0#", "12.0"),
        ("1234.568", "#.0#", "1234.57"),
        ("12000", "#,###", "12,000"),
        ("12000", "#,", "12"),
        ("12200000", "0.0,,", "12.2"),
    ],
)
def test_numbers_are_shown_as_their_format_says(number: str, format: str, shown: str) -> None:
    """The examples of ECMA-376, part 1, 18.8.31, and of Microsoft's "Basic number format codes"."""
    assert number_shown(number, format) == shown


@pytest.mark.parametrize(
    ("number", "format", "shown"),
    [
        ("7", "000", "007"),
        ("3", '"R"0', "R3"),
        ("31", '0" oz"', "31 oz"),
        ("31", "General\\ \\g", "31 g"),
        ("1", "0.0", "1.0"),
        ("0.1", "0.00", "0.10"),
        ("0.1", "0%", "10%"),
        ("900012000001234", "0.00E+00", "9.00E+14"),
        ("-5", "0;[Red]-0", ""),
        ("5", "# ?/?", ""),
        ("5", "0", ""),
    ],
)
def test_what_stands_around_figures_is_shown_too(number: str, format: str, shown: str) -> None:
    assert number_shown(number, format) == shown


@pytest.mark.parametrize(
    ("format", "shown"),
    [
        ("d.m.yy", "1.2.03"),
        ("dd.mm.yyyy", "01.02.2003"),
        ("[$-407]d. mmmm yyyy;@", "1. February 2003"),
        ("d-mmm", "1-Feb"),
        ("mmm-yy", "Feb-03"),
        ("yyyy", "2003"),
        ("h:mm", ""),
        ("General", ""),
    ],
)
def test_days_are_shown_by_their_parts(format: str, shown: str) -> None:
    assert day_shown(date(2003, 2, 1), format) == shown


def read(column: str, value: object, format: str, **replies: str) -> ListLine:
    """What becomes of a line with one cell of that format."""
    row: dict[str, object] = dict.fromkeys(HEAD, "") | {"Tag": "A1", "Species": "bp"}
    row |= {column: value}
    place = f"{chr(65 + HEAD.index(column))}2"
    sheet = workbook([HEAD, list(row.values())], formats={place: format})
    return laid_out(sheet, **SEXES, **{"weighed": WEIGHED, **replies}).lines[1]


@pytest.mark.parametrize(
    ("value", "format", "tag", "told"),
    [
        (7, "000", "007", "shows 007 and holds 7"),
        (3, '"R"0', "R3", "shows R3 and holds 3"),
        (1234, "#,##0", "1234", ""),
        (7, "General", "7", ""),
    ],
)
def test_a_tag_is_what_its_keeper_sees(value: object, format: str, tag: str, told: str) -> None:
    line = read("Tag", value, format)
    assert draft(line).tag == tag
    assert told in line.why


def test_a_tag_shown_as_another_number_is_asked_about() -> None:
    assert read("Tag", 7, "0.00").waits == ("shown",)
    for answer, tag in (("shown", "7.00"), ("stored", "7")):
        assert draft(read("Tag", 7, "0.00", shown=answer)).tag == tag


@pytest.mark.parametrize("format", ["General", "0.00E+00", "0", "@"])
def test_a_transponder_that_the_sheet_shows_shortened_but_holds_whole_is_read(format: str) -> None:
    assert draft(read("Chip", int(CHIP), format)).transponder == CHIP


def test_noughts_that_the_sheet_shows_before_a_transponder_are_not_asked_about() -> None:
    line = read("Chip", 56012000001234, "000000000000000")
    assert draft(line).transponder == "056012000001234"


@pytest.mark.parametrize(
    ("value", "format", "grams"),
    [
        (46.83, "0", "46.8"),
        (46.83, "0.00", "46.8"),
        (31, '0" oz"', "878.8"),
        (2, '0.0\\ "lb"', "907.2"),
        (1240, "#,##0", "1240"),
        ("31 oz", "General", "878.8"),
        ("2 lb 3 oz", "General", "992.2"),
        ("1 lb", "General", "453.6"),
        ("4,5 oz", "General", "127.6"),
    ],
)
def test_a_weight_is_what_its_cell_holds_in_the_unit_that_it_shows(
    value: object, format: str, grams: str
) -> None:
    """An avoirdupois ounce is 28.349523125 g and a pound 453.59237 g (NIST Handbook 44, app. C)."""
    assert draft(read("Weight (g)", value, format)).grams == grams


def test_a_weight_shown_a_thousand_times_smaller_is_asked_about() -> None:
    assert read("Weight (g)", 1240, "0.00,").waits == ("shown",)
    assert draft(read("Weight (g)", 1240, "0.00,", shown="stored")).grams == "1240"


@pytest.mark.parametrize(
    ("heading", "grams"),
    [("Weight (oz)", "340.2"), ("lbs", "5443.1"), ("Weight in grams", "12"), ("kg", "12000")],
)
def test_a_unit_is_that_of_the_heading(heading: str, grams: str) -> None:
    text = f"tag;species;weighed;{heading}\nA1;bp;{WEIGHED};12\n"
    assert draft(laid_out(text).lines[1]).grams == grams


def test_a_unit_that_stands_nowhere_is_asked_once() -> None:
    text = (
        f"tag,species,weight,weighed\nA1,bp,12,{WEIGHED}\nA2,bp,14,{WEIGHED}\nA3,bp,9 g,{WEIGHED}\n"
    )
    plan = laid_out(text)
    assert [(one.name, one.lines) for one in plan.questions] == [("unit", 2)]
    assert draft(plan.lines[3]).grams == "9"
    for unit, grams in (("g", "12"), ("oz", "340.2"), ("out", "")):
        assert draft(laid_out(text, unit=unit).lines[1]).grams == grams


# --- sexes of which a sheet made days -------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "format", "typed"),
    [
        (date(2003, 2, 1), "d.m.yy", "1.2.3"),
        (date(2003, 1, 2), "m/d/yyyy", "1.2.3"),
        (date(2003, 2, 1), "yyyy-mm-dd", "1.2.3"),
        (date(2003, 2, 1), "mm-dd-yy", "1.2.3"),
        (date(2026, 2, 1), "d-mmm", "1.2"),
        (date(2003, 2, 1), "dd.mm.yyyy", "1.2.3"),
        ("01.02.2003", "General", "1.2.3"),
        ("01. Feb", "General", "1.2"),
    ],
)
def test_a_day_in_the_column_of_sexes_is_asked_about_and_never_one_animal(
    value: object, format: str, typed: str
) -> None:
    line = read("Sex", value, format)
    assert line.waits == ("dated",)
    asked = laid_out(workbook([HEAD, ["A1", "bp", value]], formats={"C2": format}), **SEXES)
    assert f"typed as {typed}?" in asked.open[0].text
    counted = read("Sex", value, format, dated="counts")
    assert counted.draft is None
    assert f"was likely {typed}, a count of several animals" in counted.why
    assert draft(read("Sex", value, format, dated="unknown")).sex is None


@pytest.mark.parametrize(
    ("value", "format", "sex"),
    [(1, "d.m.yyyy", "male"), (0.1, "d.m.yyyy", "female"), (1, "mm-dd-yy", "male"),
     (0.1, "h:mm", "female")],
)  # fmt: skip
def test_one_animal_that_a_format_shows_as_a_day_is_asked_about_too(
    value: float, format: str, sex: str
) -> None:
    assert read("Sex", value, format).waits == ("dated",)
    assert draft(read("Sex", value, format, dated="counts")).sex == sex


def test_all_days_among_the_sexes_are_one_question() -> None:
    rows = [HEAD, *[[f"A{n}", "bp", date(2003, 2, n)] for n in range(1, 9)]]
    plan = laid_out(workbook(rows))
    assert [(one.name, one.lines) for one in plan.questions] == [("dated", 8)]


@pytest.mark.parametrize(
    ("value", "format", "sex"),
    [(1, "0.0", "male"), (0.1, "0.0", "female"), (1, "0.00", "male")],
)
def test_a_sex_is_what_the_sheet_shows_of_a_number(value: float, format: str, sex: str) -> None:
    assert draft(read("Sex", value, format)).sex == sex


def test_a_sex_that_shows_something_else_than_it_holds_is_asked_about() -> None:
    assert read("Sex", 0.1, "0.00").waits == ("sex=0.10",)


# --- days that a sheet made whole -----------------------------------------------------------


@pytest.mark.parametrize("format", ["mmm-yy", "yyyy", "d-mmm"])
def test_a_day_of_which_the_sheet_shows_a_part_is_not_taken_for_whole(format: str) -> None:
    assert read("DOB", date(2024, 3, 1), format).waits == ("partial",)
    found = draft(read("DOB", date(2024, 3, 1), format, partial="describe"))
    assert found.hatched == ""
    assert found.description.startswith("Hatched or born: ")


@pytest.mark.parametrize("format", ["d.m.yy", "[$-407]d. mmmm yyyy;@", "mm-dd-yy", "dddd d/m/yyyy"])
def test_a_day_shown_whole_is_the_one_that_is_held(format: str) -> None:
    assert draft(read("DOB", date(2024, 3, 1), format)).hatched == "2024-03-01"


# --- OpenDocument, in a German locale -------------------------------------------------------


def german(kind: str, value: str, shown: str) -> str:
    name = "date-value" if kind == "date" else "value"
    return (
        f'<table:table-cell office:value-type="{kind}" office:{name}="{value}">'
        f"<office:annotation><text:p>a remark</text:p></office:annotation><text:p>{shown}</text:p>"
        "</table:table-cell>"
    )


def text(word: str) -> str:
    return (
        f'<table:table-cell office:value-type="string"><text:p>{word}</text:p></table:table-cell>'
    )


def test_open_document_says_itself_what_it_shows() -> None:
    cells = [text("Kennung"), text("Art"), text("Geschlecht"), text("Gewicht g")]
    rows = ["".join(cells)]
    made = [
        ("float", "1", "1,0"),
        ("date", "2003-02-01", "01.02.03"),
        ("date", "1899-12-31", "31.12.99"),
    ]
    for number, (kind, value, shown) in enumerate(made, 1):
        tag = german("float", str(number), f"00{number}")
        rows.append(
            tag + text("BP") + german(kind, value, shown) + german("float", "46.83", "46,8")
        )
    content = ods_of("".join(f"<table:table-row>{row}</table:table-row>" for row in rows))
    given = {"weighed": WEIGHED, "dated": "counts", **SEXES}
    plan = laid_out(content, **given)
    first, last = draft(plan.lines[1]), draft(plan.lines[3])
    assert (first.tag, first.sex, first.grams) == ("001", "male", "46.8")
    assert last.sex == "male"
    assert "was likely 1.2.3" in plan.lines[2].why


def test_open_document_tells_what_it_hides() -> None:
    columns = (
        '<table:table-column table:number-columns-repeated="2"/>'
        '<table:table-column table:visibility="collapse"/>'
    )
    row = (
        "<table:table-row{}>"
        + text("{}")
        + text("bp")
        + text("hidden words")
        + "</table:table-row>"
    )
    head = "<table:table-row>" + text("Tag") + text("Art") + text("Notes") + "</table:table-row>"
    rows = row.format("", "A1") + row.format(' table:visibility="filter"', "A2")
    sheet = read_table(ods_of(columns + head + rows)).sheets[0]
    assert sheet.hidden_columns == (2,)
    assert [one.hidden for one in sheet.rows] == [False, False, True]


# --- what a sheet hides ---------------------------------------------------------------------

ROWS = [["Tag", "Species", "Notes"], ["A1", "bp", ""], ["A2", "bp", "sold"], ["A3", "bp", "secret"]]


def test_hidden_lines_are_neither_taken_in_nor_left_out_in_silence() -> None:
    sheet = workbook(ROWS, hidden=[3])
    plan = laid_out(sheet)
    assert plan.lines[2].waits == ("hidden",)
    assert "hides 1 line." in plan.questions[0].text
    assert [line.number for line in plan.of("new")] == [2, 4]
    assert laid_out(sheet, hidden="read").counts["new"] == 3
    left_out = laid_out(sheet, hidden="out").lines[2]
    assert (left_out.state, left_out.why) == (
        "aside", "The sheet hides it; left out, as you answered."
    )  # fmt: skip


def test_hidden_columns_are_neither_taken_in_nor_left_out_in_silence() -> None:
    sheet = workbook(ROWS, hidden=["C"])
    plan = laid_out(sheet)
    assert [one.title for one in plan.columns if one.hidden] == ["Notes"]
    assert [line.waits for line in plan.lines[1:]] == [(), ("hidden",), ("hidden",)]
    assert "the column “Notes”" in plan.questions[0].text
    assert draft(laid_out(sheet, hidden="read").lines[3]).description == "secret"
    assert draft(laid_out(sheet, hidden="out").lines[3]).description == ""


def test_hidden_lines_and_columns_are_one_question() -> None:
    plan = laid_out(workbook(ROWS, hidden=[3, 4, "C"]))
    assert [one.name for one in plan.questions] == ["hidden"]
    assert "hides 2 lines and the column “Notes”." in plan.questions[0].text


def test_a_hidden_column_that_is_left_out_anyway_is_not_asked_about() -> None:
    rows = [["Tag", "Species", "Price"], ["A1", "bp", 200]]
    assert not laid_out(workbook(rows, hidden=["C"])).questions


def test_a_workbook_that_declares_what_would_have_to_be_expanded_is_refused() -> None:
    content = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbbbbbbbb">]><a>&b;</a>'
    book = packed({"mimetype": ODS, "content.xml": content})
    with pytest.raises(Unreadable):
        parts_of(ZipFile(io.BytesIO(book)))


def test_a_cell_kept_before_it_told_what_it_shows_is_read() -> None:
    """Lists are kept for a day, so also over a new release."""
    assert msgspec.json.decode(b'["7","number"]', type=Cell) == Cell("7", "number")

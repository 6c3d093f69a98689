"""Lists as keepers write them: what each cell is read as, and what is asked rather than guessed."""

import io
from datetime import date, datetime
from typing import Any

import pytest
from openpyxl import load_workbook
from tests.domain.tables.lists import CHIP, SEXES, laid_out, ods, one, workbook

from scalewitness.domain.tables.drafts import ListedAnimal
from scalewitness.domain.tables.lines import KnownAnimal, ListLine

BALL = {"Species": "ball python"}


def draft(line: ListLine) -> ListedAnimal:
    assert line.draft is not None, line.why
    return line.draft


@pytest.mark.parametrize(
    ("typed", "sex", "sure"),
    [
        ("male", "male", True),
        ("F", "female", True),
        ("0.1", "female", True),
        pytest.param(0.1, "female", True, id="number 0.1"),
        ("1.0", "male", True),
        ("0,1", "female", True),
        ("1.0.0", "male", True),
        ("pr. male", "male", False),
        ("m?", "male", False),
        ("prob. female", "female", False),
        ("♀", "female", True),
        ("weiblich", "female", True),
        ("0.0.1", None, True),
        ("unsexed", None, True),
        ("?", None, True),
        ("", None, True),
    ],
)
def test_a_sex_is_what_its_keeper_wrote(typed: object, sex: str | None, sure: bool) -> None:
    found = draft(one({"Tag": "A1", **BALL, "Sex": typed}, **SEXES))
    assert found.sex == sex
    if sex:
        assert found.sure == sure


@pytest.mark.parametrize(
    "typed", ["1.2", "0.0.5", "3 x", "x2", "2.1.4", "1,2", date(2003, 2, 1), "0,3"]
)
def test_several_animals_are_never_taken_for_one(typed: object) -> None:
    for columns in ({"Tag": "A1", **BALL, "Sex": typed}, {"Tag": "A1", **BALL, "Qty": typed}):
        line = one(columns, **SEXES, dated="counts")
        assert line.state == "cannot"
        assert "count of several" in line.why


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        ({"Tag": "A1", "Species": "1.2 corn snake"}, "count of several"),
        ({"Tag": "A1", **BALL, "Name": "3 x Moss"}, "count of several"),
        ({"Tag": "A1", "Species": "1.0 corn snake", "Sex": "female"}, "another female"),
        ({"Tag": "M11-M16", **BALL}, "names several"),
        ({"Tag": date(2026, 3, 4), **BALL}, "made a day of its tag"),
        ({"Tag": "moss@keepers.example", **BALL}, "never a person"),
        ({"Tag": "A1", **BALL, "Hatched": "soon"}, "no day that can be read"),
        ({"Tag": "A1", **BALL, "Hatched": "2031-03-04"}, "can have hatched"),
        ({"Tag": "A1", **BALL, "Hatched": "2024-02-31"}, "no day that can be read"),
        ({"Tag": "A1", **BALL, "Weight (g)": "fat", "Weighed": "2026-01-02"}, "no weight"),
        ({"Tag": "A1", **BALL, "Weight (g)": "0", "Weighed": "2026-01-02"}, "no weight"),
        ({"Tag": "A1", **BALL, "Weight (g)": 10, "Weighed": "2031-01-02"}, "can have been weighed"),
        ({"Tag": "", **BALL, "Price": "300"}, "neither a tag"),
        ({"Tag": "x" * 41, **BALL}, "40 characters"),
    ],
)
def test_what_cannot_be_meant_is_told(columns: dict[str, object], why: str) -> None:
    line = one(columns)
    assert (line.state, line.draft) == ("cannot", None)
    assert why in line.why


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        (CHIP, CHIP),
        pytest.param(int(CHIP), CHIP, id="number"),
        pytest.param(float(CHIP), CHIP, id="float"),
        ("900 012 000 001 234", CHIP),
        ("900.012.000.001.234", CHIP),
        (f"{CHIP}.0", CHIP),
        ("", ""),
        ("-", ""),
    ],
)
def test_a_transponder_that_is_whole_is_read(typed: object, code: str) -> None:
    assert draft(one({"Tag": "A1", **BALL, "Chip": typed})).transponder == code


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("9.00E+14", "shortened"),
        ("9,00012E+14", "shortened"),
        (900012000000000, "nine noughts"),
        ("9000120000012345", "15 digits, not 16"),
        ("90001200000123", "waits"),
        ("90001200000123X", "digits only"),
        (date(2024, 1, 2), "made something else"),
    ],
)
def test_an_animal_whose_transponder_was_damaged_is_not_stored_without_it(
    typed: object, why: str
) -> None:
    line = one(
        {"Tag": "A1", **BALL, "Chip": typed},
    )
    assert (line.state, line.draft) == ("cannot", None)
    assert why in line.why


def test_noughts_that_a_sheet_dropped_are_put_back_where_its_keeper_says_so() -> None:
    columns = {"Tag": "A1", **BALL, "Chip": 56012000001234}
    assert one(columns).waits == ("zeros",)
    assert draft(one(columns, zeros="yes")).transponder == "056012000001234"


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2024-03-04", "2024-03-04"),
        ("2024/3/4", "2024-03-04"),
        ("25.03.2024", "2024-03-25"),
        ("3/25/24", "2024-03-25"),
        ("4 Mar 2024", "2024-03-04"),
        ("March 4th, 2024", "2024-03-04"),
        ("04/04/2024", "2024-04-04"),
        ("2024-03-04 00:00:00", "2024-03-04"),
        (date(2024, 3, 4), "2024-03-04"),
        (datetime(2024, 3, 4, 12, 30), "2024-03-04"),  # noqa: DTZ001  sheets know no zone
        ("25.03.98", "1998-03-25"),
    ],
)
def test_a_day_that_can_be_read_in_one_way_is_read(typed: object, day: str) -> None:
    assert draft(one({"Tag": "A1", **BALL, "DOB": typed})).hatched == day


def test_days_are_in_the_order_that_the_file_shows() -> None:
    head = "tag,species,hatched\n"
    for other, day in (("25/12/2023", "2024-04-03"), ("12/25/2023", "2024-03-04")):
        plan = laid_out(f"{head}A1,bp,03/04/2024\nA2,bp,{other}\n")
        assert draft(plan.lines[1]).hatched == day
        assert not plan.questions


@pytest.mark.parametrize("others", ["A2,bp,05/06/2023", "A2,bp,25/12/2023\nA3,bp,12/25/2023"])
def test_an_order_that_the_file_does_not_show_is_asked_once(others: str) -> None:
    text = f"tag,species,hatched\nA1,bp,03/04/2024\n{others}\n"
    plan = laid_out(text)
    assert [one.name for one in plan.questions] == ["order"]
    assert plan.lines[1].waits == ("order",)
    for answer, day in (("day_first", "2024-04-03"), ("month_first", "2024-03-04")):
        assert draft(laid_out(text, order=answer).lines[1]).hatched == day


def test_days_that_the_sheet_may_have_turned_round_are_asked_about() -> None:
    rows = [["Tag", "Species", "DOB"], ["A1", "bp", date(2024, 4, 3)], ["A2", "bp", "25/04/2024"]]
    plan = laid_out(workbook(rows))
    assert [one.name for one in plan.questions] == ["swapped"]
    assert draft(laid_out(workbook(rows), swapped="yes").lines[1]).hatched == "2024-03-04"
    assert draft(laid_out(workbook(rows), swapped="no").lines[1]).hatched == "2024-04-03"


@pytest.mark.parametrize(
    ("column", "typed", "question", "answer", "field", "value"),
    [
        ("DOB", "44391", "serials", "yes", "hatched", "2021-07-14"),
        ("DOB", "2021", "partial", "describe", "description", "Hatched or born: 2021"),
        ("DOB", "07/2021", "partial", "describe", "description", "Hatched or born: 07/2021"),
        pytest.param("Sex", 1, "sex=1", "male", "sex", "male", id="number 1"),
        ("Sex", "1", "sex=1", "unknown", "sex", None),
        ("Sex", "rooster", "sex=rooster", "female", "sex", "female"),
        ("Weight (g)", "1,240", "marks", "whole", "grams", "1240"),
        ("Weight (g)", "1.240", "marks", "decimal", "grams", "1.2"),
        ("Species", "Bal pyhton", "species=Bal pyhton", "boa_imperator", "species",
         "boa_imperator"),
        ("Species", "dragon", "species=dragon", "serpentes", "species", "serpentes"),
        ("Species", "", "species", "boa_imperator", "species", "boa_imperator"),
    ],
)  # fmt: skip
def test_what_is_open_is_asked_and_the_line_waits(
    column: str, typed: object, question: str, answer: str, field: str, value: object
) -> None:
    columns = {"Tag": "A1", "Name": "Moss", **BALL, "Weighed": "2026-01-02", column: typed}
    asked = one(columns, **SEXES)
    assert asked.state == "cannot"
    assert asked.waits == (question,)
    found = draft(one(columns, **SEXES, **{question: answer}))
    assert getattr(found, field) == value


@pytest.mark.parametrize(
    ("typed", "grams"),
    [("1240", "1240"), ("8,5", "8.5"), ("8.5 g", "8.5"), ("1.240,5", "1240.5"),
     ("1,240.5", "1240.5"), ("1.2 kg", "1200"), (62.25, "62.2"), ("1 240", "1240"), ("n/a", "")],
)  # fmt: skip
def test_weights_are_read_with_either_mark(typed: object, grams: str) -> None:
    columns = {"Tag": "A1", **BALL, "Weight (g)": typed, "Weighed": "2026-01-02"}
    assert draft(one(columns)).grams == grams


def test_when_they_were_weighed_is_asked_once_and_never_taken_to_be_today() -> None:
    columns = {"Tag": "A1", **BALL, "Weight (g)": 1200}
    assert one(columns).waits == ("weighed",)
    assert draft(one(columns, weighed="out")).grams == ""
    found = draft(one(columns, weighed="2026-10-01"))
    assert (found.grams, found.weighed) == ("1200", "2026-10-01")
    assert "can have been weighed" in one(columns, weighed="2031-10-01").why


@pytest.mark.parametrize(
    ("typed", "key"),
    [("BP", "python_regius"), ("Python regius", "python_regius"), ("P. regius", "python_regius"),
     ("royal pythons", "python_regius"), ("python_regius", "python_regius"),
     ("Corn", "pantherophis_guttatus"), ("Elaphe guttata", "pantherophis_guttatus"),
     ("BCI", "boa_imperator"), ("Dumeril’s boa", "acrantophis_dumerili"),
     ("1.0 BP", "python_regius")],
)  # fmt: skip
def test_a_species_goes_by_any_name_it_has(typed: str, key: str) -> None:
    assert draft(one({"Tag": "A1", "Species": typed}, **SEXES)).species == key


def test_columns_are_known_by_what_stands_in_them() -> None:
    rows = [["My animals 2026"], [], ["ID", "what", "g/b", "?", "bought"]]
    rows += [
        [f"A{n}", "corn", "m", f"90001200000{1000 + n}", f"2024-01-{n:02}"] for n in range(1, 9)
    ]
    plan = laid_out(ods(rows), **SEXES)
    fields = {one.title: one.field for one in plan.columns}
    assert fields == {
        "ID": "tag", "what": "species", "g/b": "sex", "?": "transponder", "bought": "",
    }  # fmt: skip
    assert plan.counts["new"] == 8
    assert [one.why for one in plan.of("aside") if not one.row.blank] == [
        "It stands above the headings.",
        "The headings.",
    ]


def test_a_list_without_headings_is_read_by_what_stands_in_it() -> None:
    rows = "".join(f"90001200000{1000 + n};corn snake;f;1.{n}.2024\n" for n in range(1, 20))
    plan = laid_out(rows, **SEXES)
    assert [one.field for one in plan.columns] == ["transponder", "species", "sex", "hatched"]
    assert plan.counts["new"] == 19


def test_a_column_of_days_under_another_heading_is_not_taken_for_when_it_hatched() -> None:
    assert draft(one({"Tag": "A1", **BALL, "Sold": "2025-01-02"})).hatched == ""


def test_totals_repeated_headings_and_blank_lines_are_no_animals() -> None:
    text = "Tag;Art;Sex\nA1;bp;1.0\n\nTag;Art;Sex\nA2;bp;0.1\n;;\nTotal;;1.1\n"
    plan = laid_out(text, **SEXES)
    reasons = {line.number: line.why for line in plan.of("aside")}
    assert reasons == {
        1: "The headings.", 3: "Nothing stands in it.", 4: "The headings once more.",
        6: "Nothing stands in it.", 7: "A total, no animal.",
    }  # fmt: skip
    assert [line.number for line in plan.of("new")] == [2, 5]


def test_a_sheet_is_chosen_by_its_headings_not_by_its_place() -> None:
    plan = laid_out(workbook([["Feeding"], ["mice", 12]], "Food"))
    assert plan.counts["new"] == 0


@pytest.mark.parametrize(
    ("second", "states"),
    [
        ("A1,bp,2024-01-02", ["new", "here"]),
        ("A1,corn,2024-01-02", ["cannot", "cannot"]),
        ("a1,bp,2024-01-02", ["cannot", "cannot"]),
        ("A2,bp,2024-01-02", ["new", "new"]),
    ],
)
def test_of_two_lines_about_one_animal_none_is_guessed(second: str, states: list[str]) -> None:
    plan = laid_out(f"tag,species,hatched\nA1,bp,2024-01-02\n{second}\n")
    assert [line.state for line in plan.lines[1:]] == states
    for line in plan.of("cannot"):
        assert line.beside is not None
        assert line.beside.rows[0][0] == "Tag"


def known(**more: Any) -> dict[tuple[str, str], list[KnownAnimal]]:
    given = {
        "species": "python_regius",
        "hatched": "",
        "codes": (("tag", "A1"), ("transponder", CHIP)),
    }
    animal = KnownAnimal(id="x", title="Moss", **{**given, **more})
    return {(scheme, code.casefold()): [animal] for scheme, code in animal.codes}


@pytest.mark.parametrize(
    ("row", "state", "why"),
    [
        (f"A1,{CHIP},bp", "here", "On record already."),
        ("A1,,bp", "here", "On record already. What differs"),
        (f"A9,{CHIP},corn", "here", "What differs stays"),
        ("a1,900012000009999,bp", "cannot", "another animal of yours"),
        ("A1,,corn", "cannot", "another animal of yours"),
        ("A2,,bp", "new", ""),
    ],
)
def test_what_is_on_record_is_shown_beside_and_never_stored_twice(
    row: str, state: str, why: str
) -> None:
    plan = laid_out(f"tag,chip,species\n{row}\n", known())
    assert plan.lines[1].state == state
    assert why in plan.lines[1].why


def test_other_columns_go_into_the_description_where_its_keeper_says_so() -> None:
    line = one({"Tag": "A1", **BALL, "Notes": 'eats 8" rats', "Morph": "pastel, clown/het pied"})
    assert draft(line).description == 'eats 8" rats'
    assert draft(line).traits == ("pastel", "clown", "het pied")


def test_a_species_merged_over_several_lines_is_that_of_each() -> None:
    rows = [["Tag", "Species"], ["A1", "bp"], ["A2"], ["A3", "corn"]]
    book = load_workbook(io.BytesIO(workbook(rows)))
    book.worksheets[0].merge_cells("B2:B3")
    book.save(file := io.BytesIO())
    species = [draft(line).species for line in laid_out(file.getvalue()).of("new")]
    assert species == ["python_regius", "python_regius", "pantherophis_guttatus"]


def test_a_species_named_once_for_the_lines_below_is_so_by_its_keepers_word() -> None:
    text = "tag,species\nA1,bp\nA2,\nA3,corn\nA4,\n"
    assert [line.waits for line in laid_out(text).of("cannot")] == [("species",)] * 2
    species = [draft(line).species for line in laid_out(text, species="above").of("new")]
    assert species == ["python_regius"] * 2 + ["pantherophis_guttatus"] * 2


@pytest.mark.parametrize("column", ["Tag", "Sex", "Notes", "Chip"])
def test_a_formula_without_an_answer_is_told(column: str) -> None:
    line = one({"Tag": "A1", **BALL, column: "#REF!"})
    assert line.why.startswith("A formula of the sheet has no answer")


def test_spaces_that_nobody_sees_are_none() -> None:
    assert draft(one({"Tag": "\u200bA\u00a01\ufeff", **BALL})).tag == "A 1"

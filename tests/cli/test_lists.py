"""A list of animals into the command, whatever it was kept in."""

from pathlib import Path

import pytest
from tests.cli.rooms import Machine, Room
from tests.domain.tables.lists import workbook

pytestmark = pytest.mark.one_in(5)

ROWS = [
    ["My snakes"],
    ["ID", "Art", "Sex", "DOB", "Chip", "Price"],
    ["K1", "Ball python", "m", "03/04/2024", 900012000001234, 200],
    ["K2", "corn", "0.1", "05/06/2024", "", ""],
    ["K3", "BP", "1.2", "", "", ""],
    ["K4", "BP", "", "", "9.00E+14", ""],
]


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


@pytest.fixture
def file(odile: Machine) -> Path:
    place = odile.home / "snakes.xlsx"
    place.write_bytes(workbook(ROWS))
    return place


def test_a_dry_run_shows_every_line_and_stores_nothing(odile: Machine, file: Path) -> None:
    before = odile.well("unsent")
    shown = odile.run("import", "animals", str(file), "--dry-run").out
    assert "ID is tag, Art is species" in shown
    assert "Left out: Price" in shown
    assert [one for one in range(1, 7) if f"line {one}: " in shown] == [1, 2, 3, 4, 5, 6]
    assert "order=day_first|month_first" in shown
    assert odile.well("unsent") == before


def test_what_is_open_is_answered_on_the_line_and_refused_lines_come_back(
    odile: Machine, file: Path
) -> None:
    first = odile.well("import", "animals", str(file), status=1)
    assert (first["lines"], first["lines_stored"], first["lines_bad"]) == (4, 0, 4)
    assert {one["name"] for one in first["questions"]} == {"order", "sex_from"}
    answers = ("--answer", "order=day_first", "--answer", "sex_from=papers")
    found = odile.well("import", "animals", str(file), *answers, status=1)
    assert [one["line"] for one in found["bad"]] == [5, 6]
    assert found["lines_stored"] == 2
    kept = Path(found["rejected_file"]).read_text().splitlines()
    assert kept[0].startswith("ID,Art,Sex,DOB,Chip,Price,")
    assert [one.split(",")[0] for one in kept[1:]] == ["K3", "K4"]
    odile.sync()
    one = odile.well("show", "K1")
    assert (one["hatched"], one["species"]["key"]) == ("2024-04-03", "python_regius")
    assert "900012000001234" in {code["code"] for code in one["identifiers"]}
    again = odile.well("import", "animals", str(file), *answers, status=1)
    assert (again["lines_stored"], again["lines_known"], again["stored"]) == (0, 2, 0)


def test_a_guess_is_put_right_by_its_heading(odile: Machine) -> None:
    place = odile.home / "shelf.csv"
    place.write_text("Shelf code;Species\nQ1;bp\n")
    odile.well("import", "animals", str(place), status=1)
    found = odile.well("import", "animals", str(place), "--column", "Shelf code=tag")
    assert found["lines_stored"] == 1
    wrong = odile.run("import", "animals", str(place), "--column", "Shelf=tag")
    assert "No column is headed" in wrong.err
    for reply in ("order=sideways", "species=bp"):
        wrong = odile.run("import", "animals", str(place), "--answer", reply)
        assert (wrong.status, "Nothing is asked" in wrong.err) == (2, True)


def test_parents_are_found_in_the_list_and_on_record_and_sent_before_their_young(
    odile: Machine,
) -> None:
    place = odile.home / "young.csv"
    head = "tag;species;hatched;sire;dam\n"
    place.write_text(f"{head}V3;bp;;V2;Nobody\nV2;bp;;;V1\nV1;bp;2019-01-02;;\n")
    first = odile.well("import", "animals", str(place), status=1)
    assert [one["name"] for one in first["questions"]] == ["parents"]
    answer = ("--answer", "parents=describe")
    assert odile.well("import", "animals", str(place), *answer)["lines_known"] == 2
    odile.sync()
    assert _parents(odile, "V2") == (None, _animal(odile, "V1"))
    assert _parents(odile, "V3") == (_animal(odile, "V2"), None)
    place.write_text(f"{head}V4;bp;2024-05-01;;V1\n")
    assert odile.well("import", "animals", str(place))["lines_stored"] == 1
    odile.sync()
    assert _parents(odile, "V4") == (None, _animal(odile, "V1"))


def _animal(at: Machine, tag: str) -> str:
    return str(at.well("show", tag)["id"])


def _parents(at: Machine, tag: str) -> tuple[str | None, str | None]:
    """As the record states them."""
    shown = at.api.get(f"animals/{_animal(at, tag)}").json()
    return shown["sire"], shown["dam"]


def test_what_a_sheet_hides_is_said_and_asked_about(odile: Machine) -> None:
    place = odile.home / "hidden.xlsx"
    rows = [["ID", "Art", "Notes"], ["H1", "bp", "x"], ["H2", "bp", ""]]
    place.write_bytes(workbook(rows, hidden=[3, "C"]))
    shown = odile.run("import", "animals", str(place), "--dry-run").out
    assert "Notes (hidden in the sheet) is description" in shown
    assert "hides 1 line and the column “Notes”." in shown
    assert "hidden=read|out" in shown
    found = odile.well("import", "animals", str(place), "--answer", "hidden=out")
    assert (found["lines_stored"], found["lines_aside"]) == (1, 1)

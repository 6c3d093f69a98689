"""CSV in and out of the command, against the running server."""

import csv
import io
from typing import Any

import pytest
from tests.cli.rooms import Machine, Room, envelope, new_animal, push
from tests.world import probing

from scalewitness.domain.tables import files
from scalewitness_cli import csvs
from scalewitness_cli.checks import BadWord

pytestmark = pytest.mark.one_in(5)

HEAD = "animal,at,left,right,observed,conclusion,sureness,identified,held_by,harm,note"
GOOD = "C1,2026-11-20T10:00:00+01:00,9:r 8.5:choice,8:a,,male,certain,tag:C1,keeper,swelling,"


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


def test_good_lines_are_stored_and_bad_ones_given_back_as_they_stood(odile: Machine) -> None:
    animal = new_animal(odile, "C1")
    odile.sync()
    eversion = (
        'C1,2026-11-21T10:00:00Z,,,"{""method"":""eversion"",""manner"":""manual"",""seen"":'
        '""hemipenes""}",male,certain,appearance,keeper,,"=a note,\nin two lines"'
    )
    bad = [
        "C1,yesterday,9:r,,,male,certain,tag:C1,keeper,,",
        "nobody,2026-11-20T10:00:00Z,9:r,,,male,certain,tag:C1,keeper,,",
        "C1,2026-11-20T10:00:00Z,9:r,,,male,cer",
        "C1,2026-11-20T10:00:00Z,9,,,male,certain,tag:C1,keeper,,",
        'C1,2026-11-20T10:00:00Z,9:r,,,male,certain,tag:C1,keeper,,"unended',
    ]
    file = odile.home / "in.csv"
    file.write_text("\n".join([HEAD, GOOD, bad[0], eversion, *bad[1:]]), encoding="utf-8-sig")
    found = odile.well("import", "calls", str(file), status=1)
    assert found["stored"] == 2
    assert [one["line"] for one in found["bad"]] == [3, 6, 7, 8, 9]
    rejected = (odile.home / "in.csv.rejected.csv").read_text(encoding="utf-8-sig")
    assert rejected.splitlines() == [HEAD, *bad]

    again = odile.well("import", "calls", str(file), status=1)
    assert (again["stored"], again["known_already"]) == (0, 2)
    odile.sync()
    first, second = odile.api.get(f"animals/{animal}/calls").json()["items"]
    assert [one["depth"] for one in first["observed"]["passes"]] == ["9", "8.5", "8"]
    assert (first["harm"], first["examined_at"][:19]) == (["swelling"], "2026-11-20T09:00:00")
    assert (second["method"], second["note"]) == ("eversion", "=a note,\nin two lines")

    out = odile.run("export", "calls").out
    rows = [one for one in csv.DictReader(io.StringIO(out)) if one["animal"] == "C1"]
    assert [one["id"] for one in rows] == [first["id"], second["id"]]
    assert rows[0]["left"] == "9:resistance 8.5:choice"
    assert rows[1]["note"] == "'=a note,\nin two lines"


def test_a_depth_that_no_source_gives_is_insisted_on_in_its_own_column(odile: Machine) -> None:
    new_animal(odile, "C2")
    odile.sync()
    head = f"{HEAD},unusual"
    deep = "C2,2026-11-20T10:00:00Z,13:r,9:r,,male,certain,tag:C2,keeper,,"
    file = odile.home / "deep.csv"
    file.write_text("\n".join([head, f"{deep},", f"{deep},yes", f"{deep},no"]))
    found = odile.well("import", "calls", str(file), status=1)
    assert found["stored"] == 1
    assert [(one["line"], one["why"]) for one in found["bad"]] == [
        (
            2,
            "No source has this species probe deeper than 10 scales. Count again; if it did go "
            "that deep, put yes under unusual.",
        ),
        (4, "“no”: put yes under unusual, or nothing."),
    ]
    odile.sync()
    rows = csv.DictReader(io.StringIO(odile.run("export", "calls").out))
    (out,) = [one for one in rows if one["animal"] == "C2"]
    assert (out["position"] != "", out["left"], out["unusual"]) == (True, "13:resistance", "yes")


def test_a_line_read_before_there_was_that_column_stays_the_same_fact() -> None:
    """Its id is what it was then: else reading the file again would double the call."""
    row = dict.fromkeys((*csvs.CALLS, *csvs.ANIMALS), "") | {
        "animal": "C1",
        "at": "2026-11-20T10:00:00Z",
        "left": "9:resistance",
        "conclusion": "male",
        "sureness": "certain",
        "identified": "tag:C1",
        "held_by": "keeper",
    }
    known: Any = {"species": "python_regius", "steward": True, "visit": None}
    (call,) = csvs.call_facts(row, "a", "k", **known)
    assert call["id"] == "01a1f866-0d00-71d5-bcd0-1f6379c40dd0"
    with pytest.raises(BadWord, match="the left and right, or observed"):
        csvs.call_facts(row | {"left": ""}, "a", "k", **known)


def test_animals_come_in_with_what_is_on_their_rack(odile: Machine) -> None:
    file = odile.home / "animals.csv"
    file.write_text(
        "tag,species,hatched,name,rack\n"
        "D1,python_regius,2024-07-01,-Moss,R7\n"
        "D2,python_regius,,,\n"
        "D3,dragon,2024-07-01,,\n"
        ",python_regius,,,\n"
    )
    found = odile.well("import", "animals", str(file), status=1)
    assert (found["stored"], [one["line"] for one in found["bad"]]) == (5, [4, 5])
    left = odile.well("import", "animals", str(file), status=1)
    assert (left["stored"], left["known_already"]) == (0, found["stored"])
    odile.sync()
    shown = odile.well("show", "D1")
    assert (shown["name"], shown["rack"], shown["hatched"]) == ("-Moss", "R7", "2024-07-01")
    rows = list(csv.DictReader(io.StringIO(odile.run("export", "animals").out)))
    (moss,) = [one for one in rows if one["tag"] == "D1"]
    assert (moss["name"], moss["species"]) == ("'-Moss", "python_regius")


def test_numbers_known_elsewhere_are_told_line_by_line_and_nothing_is_lost(
    room: Room, odile: Machine
) -> None:
    """Three of a hundred and fifty are on the records of another keeper."""
    known = [f"98500007{number:07d}" for number in (3, 77, 149)]
    stan = room.at_work("stan")
    for code in known:
        chip = {"scheme": "transponder", "code": code}
        push(stan.api, envelope("identifier_assigned", new_animal(stan, code[-3:]), chip))
    file = odile.home / "chips.csv"
    rows = "".join(f"98500007{number:07d},python_regius\n" for number in range(150))
    file.write_text(f"transponder,species\n{rows}")
    assert odile.well("import", "animals", str(file))["stored"] == 300
    found = odile.sync()
    assert (found["sent"], found["known_elsewhere"]) == (300, known)
    chips = {code for one in odile.well("show") for code in _chips(one)}
    assert len([one for one in chips if one.startswith("98500007")]) == 150
    assert odile.sync()["known_elsewhere"] == [], "once"


def _chips(shown: Any) -> list[str]:
    return [one["code"] for one in shown["identifiers"] if one["scheme"] == "transponder"]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "plain", "'quoted", "'=x"])
def test_a_cell_is_read_back_as_it_was(text: str) -> None:
    kept = files.safe(text)
    assert not kept.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert files.plain(kept) == text


def test_records_joined_come_with_a_sync_and_say_what_is_counted(room: Room) -> None:
    """The command neither proposes nor answers: it stores and shows what was agreed."""
    odile, stan, code = room.at_work("odile"), room.at_work("stan"), "985000055555555"
    hers, his = new_animal(odile, "J1"), new_animal(stan, "J2")
    chip = {"scheme": "transponder", "code": code}
    for who, animal in ((odile, hers), (stan, his)):
        push(who.api, envelope("identifier_assigned", animal, chip))
    push(odile.api, envelope("call_made", hers, probing("female", "J1")))
    asked = envelope("joining_proposed", his, {"code": code})
    push(stan.api, asked)
    answer = {"proposal": asked["id"], "agrees": True}
    push(odile.api, envelope("joining_answered", hers, answer))
    for who, animal, elsewhere in ((odile, "J1", 0), (stan, "J2", 1)):
        assert who.sync()["alarm"] is None
        shown = who.well("show", animal)["standing"]
        assert (shown["label"], shown["calls_elsewhere"]) == ("probable female", elsewhere)

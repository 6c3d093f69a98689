"""Keeping animals with the command, offline: weights, meals, sheds and moves, a new animal, a visit
accepted, and how things stand. The next sync sends each once."""

import shutil
import subprocess
from collections.abc import Iterator
from datetime import timedelta

import click
import pytest
from tests.cli.rooms import Machine, Room, fresh_id, invite, new_animal, push
from tests.cli.test_day import envelope

from scalewitness.domain.moments import rfc3339
from scalewitness_cli.commands.common import ENDINGS
from scalewitness_cli.identity import moment_now
from scalewitness_cli.main import cli

pytestmark = pytest.mark.one_in(5)


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


TAGS = ("F1", "F2", "F3", "F20")


def condition(machine: Machine, animal: str) -> dict[str, str]:
    return dict(machine.api.get(f"animals/{animal}").json()["condition"])


def noted(machine: Machine, tag: str) -> list[tuple[str, dict[str, object]]]:
    """The day and what was noted of it, as a sync brought it."""
    entries = [one["entry"] for one in machine.well("show", tag)["facts"]]
    of_keeping = [one for one in entries if one["kind"] == "husbandry_noted"]
    return [(one["at"][:10], one["body"]["noted"]) for one in of_keeping]


def test_a_weight_is_noted_as_scales_and_people_write_it(odile: Machine) -> None:
    new_animal(odile, "C1")
    odile.sync()
    odile.well("weigh", "C1", "412,50", "--at", "yesterday")
    told = odile.run("weigh", "C1", "409.5")
    assert "Stored here of C1: Weighed: 409.5 g." in told.out
    for wrong in ("0", "-3", "412.55", "1.240,5", "heavy", "nan", "9999999"):
        assert odile.run("weigh", "C1", wrong).status == 2, wrong
    assert odile.sync()["sent"] == 2
    today = moment_now().astimezone().date()
    assert noted(odile, "C1") == [
        ((today - timedelta(days=1)).isoformat(), {"type": "weight", "grams": "412.5"}),
        (today.isoformat(), {"type": "weight", "grams": "409.5"}),
    ]
    assert "Before: 409.5 g on" in odile.run("weigh", "C1", "411").out
    assert "Weighed: 409.5 g." in odile.run("show", "C1").out


def test_a_rack_is_fed_in_one_go_but_for_those_that_are_named(odile: Machine) -> None:
    for tag in TAGS:
        new_animal(odile, tag)
    odile.sync()
    for tag, place in zip(TAGS, ("T2-1", "T2-2", "t2-3", "T20-1"), strict=True):
        odile.well("move", tag, place)
    odile.sync()
    assert odile.run("feed").status == odile.run("feed", "F1", "--rack", "T2").status == 2
    assert odile.run("feed", "--rack", "T7").status == 1
    assert odile.run("feed", "--rack", "T2", "--except", "F20").status == 2
    odile.well("feed", "--rack", "T2", "--except", "F2", "--grams", "30")
    odile.well("feed", "F2", "--refused")
    assert odile.sync()["sent"] == 3
    taken = {"type": "meal", "taken": True, "grams": "30"}
    found = {tag: [one for _, one in noted(odile, tag)] for tag in TAGS}
    assert found == {
        "F1": [taken], "F2": [{"type": "meal", "taken": False}], "F3": [taken], "F20": [],
    }  # fmt: skip


def test_a_shed_and_a_move(odile: Machine) -> None:
    animal = new_animal(odile, "C2")
    odile.sync()
    odile.well("shed", "C2", "opaque")
    assert "from no place to R2-14" in odile.run("move", "C2", "R2-14").out
    odile.sync()
    assert condition(odile, animal)["shed"] == "opaque"
    assert odile.api.get(f"animals/{animal}").json()["rack"] == "R2-14"


def test_a_note_is_in_the_log_as_a_fingerprint_and_health_asks_to_leave_it_alone(
    odile: Machine,
) -> None:
    animal = new_animal(odile, "C11")
    odile.sync()
    odile.well("note", "C11", "new hide, warm end")
    odile.well("note", "C11", "two eggs to be felt", "--health", "gravid")
    assert odile.run("note", "C11", " ").status == 2
    assert odile.sync()["sent"] == 2
    shown = odile.run("show", "C11").out
    assert "Noted of its keeping in words. (Odile) “new hide, warm end”" in shown
    assert "Its state: gravid. (Odile) “two eggs to be felt”" in shown
    assert condition(odile, animal)["health"] == "gravid"
    bodies = [str(one["entry"]["body"]) for one in odile.well("show", "C11")["facts"]]
    assert not [one for one in bodies if "hide" in one or "felt" in one]


def test_by_a_clock_that_is_off_nobody_is_asked_where_nobody_sits(
    room: Room, odile: Machine
) -> None:
    new_animal(odile, "C12")
    odile.clock = 2 * 86_400.0
    odile.sync()
    try:
        answer = odile.run("weigh", "C12", "300")
        assert (answer.status, "Stored here of C12" in answer.out) == (0, True)
        assert "clock is 2 days ahead" in answer.err
        assert odile.well("sync", status=1)["left"]["clock"] == 1
        (waits,) = odile.well("unsent", status=1)
        assert odile.run("retry", waits["id"], "--corrected").status == 0
        odile.sync()
    finally:
        odile.clock = 0.0
    ((day, _),) = noted(odile, "C12")
    assert day == rfc3339(moment_now())[:10]


def test_what_is_still_to_come_is_not_noted(odile: Machine) -> None:
    new_animal(odile, "C3")
    odile.sync()
    answer = odile.run("feed", "C3", "--at", "2090-01-01")
    assert (answer.status, "still to come" in answer.err) == (2, True)
    assert odile.well("unsent") == []


def test_a_guest_leaves_a_weight_and_no_more(room: Room, odile: Machine) -> None:
    animal = new_animal(odile, "C4")
    greta = room.keeper("greta")
    invite(odile, greta, animal)
    greta.sign_in(room.log_key)
    greta.sync()
    greta.well("weigh", "C4", "700")
    for command in (
        ("feed", "C4"), ("shed", "C4", "clear"), ("move", "C4", "R1"), ("note", "C4", "calm"),
    ):  # fmt: skip
        refused = greta.run(*command)
        assert (refused.status, "only its keeper" in refused.err.lower()) == (1, True), command
    assert greta.sync()["sent"] == 1
    assert condition(odile, animal)["grams"] == "700"


@pytest.mark.one_in(1)
def test_an_animal_is_registered_once_however_often_it_is_said(odile: Machine) -> None:
    dam = new_animal(odile, "C5")
    odile.sync()
    said = ("register", "C6", "--species", "royal", "--hatched", "yesterday", "--grams", "61,5",
            "--transponder", "900 112 000 000 156", "--dam", "C5", "--name", "Wren", "--rack",
            "R9")  # fmt: skip
    first = odile.well(*said)
    assert first["stored"] == 5
    assert odile.well(*said) == first | {"stored": 0}
    odile.sync()
    assert odile.well(*said)["stored"] == 0
    shown = odile.api.get(f"animals/{first['animal']}").json()
    assert (shown["species"]["key"], shown["name"], shown["rack"], shown["condition"]["grams"]) == (
        "python_regius", "Wren", "R9", "61.5",
    )  # fmt: skip
    assert {one["code"] for one in shown["identifiers"]} == {"C6", "900112000000156"}
    assert shown["dam"] == dam or shown["dam"]["id"] == dam
    for wrong, why in (
        (("register", "C7", "--species", "dragon"), "no species"),
        (("register", "C7", "--species", "royal", "--transponder", "900112"), "15 digits"),
        (("register", "C7", "--species", "royal", "--hatched", "2090-01-01"), "still to come"),
        (("register", "c6", "--species", "royal"), "already"),
    ):
        refused = odile.run(*wrong)
        assert refused.status in {1, 2}, wrong
        assert why in refused.err, wrong


def test_a_visit_is_accepted_or_declined_offline_and_its_sheet_fetched(
    room: Room, odile: Machine
) -> None:
    animals = [new_animal(odile, tag) for tag in ("C8", "C9")]
    guest = room.keeper("pim")
    guest.sign_in(room.log_key)
    now = moment_now()
    for animal in animals:
        body = {
            "collection": odile.collection,
            "guest": guest.api.get("keepers/me").json()["id"],
            "animals": [animal],
            "opens": rfc3339(now),
            "closes": rfc3339(now + timedelta(days=2)),
            "blind": True,
        }
        push(odile.api, envelope("visit_invited", fresh_id(), body))
    guest.sync()
    which = guest.run("accept")
    assert (which.status, which.err.count("1 snake")) == (1, 2)
    first, second = (one["id"] for one in guest.well("status")["visits"])
    told = guest.run("accept", first[-12:]).out
    assert "You check blind." in told
    assert "Never push" in told
    assert guest.well("accept", "--decline")["visit"] == second
    assert guest.run("accept").status == 1, "both are answered"
    guest.sync()
    (sheet,) = guest.well("sheet")
    assert (sheet["id"], len(sheet["rows"])) == (first, 1)


def test_status_says_what_waits_and_what_needs_its_keeper(room: Room) -> None:
    machine = room.at_work("una")
    animal = new_animal(machine, "C10")
    machine.sync()
    machine.well("weigh", "C10", "80")
    found = machine.well("status")
    assert (found["signed_in"], found["left"]["waiting"], found["animals"]) == (True, 1, 2)
    assert found["log"]["size"] > 0
    assert "Left here: 1 waiting." in machine.run("status").out
    machine.check("C10", "--at", "2031-01-01T10:00:00+00:00")
    machine.sync(status=1)
    assert machine.well("status", status=1)["left"]["refused"] == 1
    machine.run("sign-out")
    assert "is signed out at" in machine.run("status").out
    assert condition(machine, animal)["grams"] == "80"


def test_the_manual_page_tells_of_every_command_and_has_no_fault(odile: Machine) -> None:
    page = odile.run("manual").out
    for name in cli.commands:
        assert name.replace("-", r"\-") in page
    groff = shutil.which("groff")
    if groff is None:
        pytest.skip("groff, which reads manual pages, is not here")
    done = subprocess.run(
        [groff, "-Kutf8", "-man", "-ww", "-Tutf8", "-z"],
        input=page.encode(),
        capture_output=True,
        check=True,
    )
    assert done.stderr.decode() == ""


def test_every_command_that_tells_something_tells_programs_too() -> None:
    def silent(command: click.Command, name: str) -> Iterator[str]:
        if isinstance(command, click.Group):
            for one, below in command.commands.items():
                yield from silent(below, f"{name} {one}".strip())
        elif not any(one.name == "as_json" for one in command.params):
            yield name

    assert list(silent(cli, "")) == ["manual"], "which is a page for people"


def test_the_docs_list_how_commands_end() -> None:
    from stack.local import ROOT

    text = " ".join((ROOT / "clients/COMMAND.md").read_text(encoding="utf-8").split())
    for code, meaning in ENDINGS.items():
        assert f"| {code} | {meaning} |" in text

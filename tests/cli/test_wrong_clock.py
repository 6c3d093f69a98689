"""A check by a clock that is off is stored whatever it says, and its time put right."""

import time
from datetime import datetime

import pytest
from tests.cli.rooms import Machine, Room, invite, new_animal

pytestmark = pytest.mark.one_in(5)

DAYS = 86_400.0


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    return room.at_work("odile")


@pytest.fixture
def greta(room: Room) -> Machine:
    return room.keeper("greta")


def taken(host: Machine, animal: str) -> list[dict[str, object]]:
    return list(host.api.get(f"animals/{animal}/calls").json()["items"])


def is_now(text: object) -> bool:
    return abs(time.time() - datetime.fromisoformat(str(text)).timestamp()) < 300


@pytest.mark.parametrize("off", [-2 * DAYS, 2 * DAYS])
@pytest.mark.some(1)
def test_a_guests_check_by_a_wrong_clock_is_kept_told_and_sent_corrected(
    room: Room, odile: Machine, greta: Machine, off: float
) -> None:
    animal = new_animal(odile, f"W{off:.0f}")
    tag = f"W{off:.0f}"
    invite(odile, greta, animal)
    greta.clock = off
    greta.sign_in(room.log_key)
    assert ("2 days behind" if off < 0 else "2 days ahead") in greta.sync()["clock"]

    said = greta.check(tag, "--grams", "700")
    assert said["clock"]["state"] == "off"
    assert len(said["stored"]) == 2
    assert any(f"retry {said['stored'][0]} --corrected" in one for one in said["told"])
    left = greta.sync(status=1)
    assert (left["sent"], left["left"]["clock"]) == (0, 2)
    assert taken(odile, animal) == []
    (first, _) = greta.well("unsent", status=1)
    assert "Corrected it would be" in first["clock"]

    greta.well("retry", said["stored"][0], "--corrected")
    done = greta.sync()
    assert (done["sent"], done["receipts"], done["faulty"]) == (2, 2, [])
    (call,) = taken(odile, animal)
    assert call["id"] == said["stored"][0]
    assert is_now(call["examined_at"])
    corrected = call["corrected"]
    assert isinstance(corrected, dict)
    assert abs(int(corrected["offset"]) + off) < 5
    assert call["signed"], "signed anew"


def test_a_check_may_be_noted_at_the_corrected_time_at_once(
    room: Room, odile: Machine, greta: Machine
) -> None:
    animal = new_animal(odile, "W3")
    invite(odile, greta, animal)
    greta.clock = -2 * DAYS
    greta.sign_in(room.log_key)
    greta.sync()
    said = greta.check("W3", "--clock", "corrected")
    assert is_now(said["at"])
    assert greta.sync()["sent"] == 1
    assert taken(odile, animal)[0]["corrected"]

    typed = ["", "9:r", "", "9:r", "", "male", "certain", "", "examiner", "", ""]
    answer = greta.run("check", "W3", type="\n".join([*typed, "", ""]))
    assert answer.status == 0, answer
    assert "This computer's clock is 2 days behind" in answer.err
    assert "Noted at the corrected time" in answer.out
    assert greta.sync()["sent"] == 1


def test_sent_as_it_was_read_it_is_refused_with_a_word_of_the_clock_and_mended(
    room: Room, odile: Machine, greta: Machine
) -> None:
    animal = new_animal(odile, "W4")
    invite(odile, greta, animal)
    greta.clock = -2 * DAYS
    greta.sign_in(room.log_key)
    greta.sync()
    (id,) = greta.check("W4", "--clock", "as-read")["stored"]
    assert greta.sync(status=1)["left"]["refused"] == 1
    (refused,) = greta.well("unsent", status=1)
    assert refused["answer"]["problem"]["code"] == "not_found"
    assert "2 days behind" in refused["clock"]
    greta.well("retry", "--corrected")
    assert greta.sync()["sent"] == 1
    assert [one["id"] for one in taken(odile, animal)] == [id]


def test_a_clock_set_between_check_and_contact_is_said_to_be_unknown_and_nothing_is_lost(
    room: Room, odile: Machine
) -> None:
    animal = new_animal(odile, "W5")
    odile.sync()
    odile.tamper("DELETE FROM kept WHERE name = 'clock'")  # as from before clocks were compared
    odile.clock = -2 * DAYS
    (id,) = odile.check("W5")["stored"]
    odile.clock = 0.0
    assert odile.sync(status=1)["left"]["clock"] == 1
    (waits,) = odile.well("unsent", status=1)
    assert "how far it is off is not known" in waits["clock"]
    refused = odile.run("retry", id, "--corrected")
    assert (refused.status, "--at TIME" in refused.err) == (1, True)
    odile.well("retry", id, "--at", "2026-11-20 12:00+00:00")
    assert odile.sync()["sent"] == 1
    (call,) = taken(odile, animal)
    assert (call["id"], call["corrected"]) == (id, None)
    assert str(call["examined_at"]).startswith("2026-11-20T12:00")


def test_a_check_that_no_visit_covers_is_stored_and_told(
    room: Room, odile: Machine, greta: Machine
) -> None:
    animal = new_animal(odile, "W6")
    visit = invite(odile, greta, animal)
    greta.sign_in(room.log_key)
    greta.sync()
    greta.tamper("DELETE FROM sheet_row")  # as where the sheet could not be fetched
    said = greta.check("W6")
    assert len(said["stored"]) == 1
    assert any("--visit" in one for one in said["told"])
    assert greta.sync(status=1)["left"]["refused"] == 1
    greta.well("retry", said["stored"][0], "--visit", visit)
    assert greta.sync()["sent"] == 1
    assert [one["id"] for one in taken(odile, animal)] == said["stored"]


def test_a_right_clock_is_not_spoken_of(odile: Machine) -> None:
    new_animal(odile, "W7")
    assert odile.sync()["clock"] == ""
    said = odile.check("W7")
    assert (said["clock"]["state"], said["told"]) == ("right", [])
    assert odile.sync()["sent"] == 1

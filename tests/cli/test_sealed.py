"""A late call under seal, as its sender's own command has it: it shows that the call came and what
it says, and there is an alarm where the record does not stand by that."""

import json
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any, LiteralString

import psycopg
import pytest
from tests.cli.rooms import Machine, Room, envelope, invite, new_animal, push
from tests.journeys.test_crashes import rfc3339_at

from scalewitness.domain.translog.base64s import decode64, encode64
from scalewitness.domain.translog.record_map import Link, NotShown, Opening
from scalewitness_cli.one_record import require_seals

pytestmark = pytest.mark.one_in(5)

DAY = 86_400.0


TABLES = ("people_grant", "people_grantanimal", "visits_visit", "calls_seal", "calls_heldcall")
"""What is altered here, and is not put back."""
LOSE = (
    "DELETE FROM calls_seal WHERE held_id = %s",
    "DELETE FROM calls_heldcall WHERE id = %s",
)
NO_VISIT = (
    "DELETE FROM people_grantanimal WHERE grant_id = %s",
    "DELETE FROM people_grant WHERE id = %s",
)
SHIFT = (
    "UPDATE people_grant SET opens = now() - interval '40 days', closes = now() + %s WHERE id = %s",
    "UPDATE visits_visit SET opens = now() - interval '40 days', closes = now() + %s WHERE id = %s",
)


def alter(room: Room, statements: Sequence[LiteralString], *values: object) -> None:
    """As somebody whom no trigger stops."""
    with psycopg.connect(room.stack.owner_url, autocommit=True) as owner:
        for table in TABLES:
            owner.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER".encode())
        for one in statements:
            assert owner.execute(one, values).rowcount, one
        for table in TABLES:
            owner.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER".encode())


@pytest.fixture(scope="module")
def host(room: Room) -> Machine:
    return room.at_work("host")


@pytest.fixture
def guest(room: Room) -> Machine:
    return room.at_work("guest")


def late_call(room: Room, host: Machine, guest: Machine, tag: str) -> tuple[str, str, str]:
    """A check of 25 days ago that comes 20 days after its visit: the animal, visit and call."""
    animal = new_animal(host, tag)
    visit = invite(host, guest, animal)
    alter(room, SHIFT, timedelta(days=1), visit)
    guest.sync()
    made = guest.check(tag, "--visit", visit, "--at", rfc3339_at(time.time() - 25 * DAY))
    alter(room, SHIFT, timedelta(days=-20), visit)
    assert guest.sync()["left"]["held"] > 0
    return animal, visit, made["stored"][0]


def alarms(machine: Machine) -> list[dict[str, Any]]:
    """About the log; nobody confirmed that this browser is theirs."""
    found = [json.loads(one) for one in machine.run("alarms", "--json").out.splitlines()]
    return [one for one in found if one["outcome"] != "in_my_name"]


def set_aside(machine: Machine, alarm: str, status: int = 0) -> None:
    machine.run("acknowledge", alarm, "--because", "it is what this test is about")
    assert machine.sync(status=status)["alarm"] is None, "told once"


def test_its_sender_shows_that_it_came_and_what_it_says(
    room: Room, host: Machine, guest: Machine, tmp_path: Path
) -> None:
    animal, _, call = late_call(room, host, guest, "S-1")
    file = tmp_path / "late"
    assert guest.run("receipt", call, str(file)).status == 0
    trusted = ("--key", room.log_key)
    found = guest.well("verify", str(file), *trusted)
    assert (found["kind"], found["about"], found["body"]["held"]) == ("call_held", animal, call)
    assert found["sealed"]["body"]["conclusion"] == "male"
    assert found["sealed"]["signed_on_device"]
    told = guest.run("verify", str(file), *trusted).out
    assert "Under seal: A call by probing; the conclusion: male" in told

    kept = json.loads(file.read_text())
    sent = decode64(kept["sent"]).replace(b'"conclusion":"male"', b'"conclusion":"female"')
    others = {"sent": encode64(sent)}, {"salt": "00" * 32}, {"salt": "00"}, {"receipt": "none"}
    for one in others:
        file.write_text(json.dumps(kept | one))
        assert guest.well("verify", str(file), *trusted, status=1)["holds"] is False
    assert guest.sync()["alarm"] is None


def test_its_host_has_the_entry_and_nothing_of_what_it_says(
    room: Room, host: Machine, guest: Machine
) -> None:
    animal, _, call = late_call(room, host, guest, "S-2")
    host.clock += 700
    found = host.sync()
    assert found["alarm"] is None
    assert found["proved"] > 0
    entries = [json.loads(one)["entry"] for (one,) in host.rows("SELECT content FROM fact")]
    (entry,) = [one for one in entries if call in json.dumps(one)]
    assert entry["kind"] == "call_held"
    assert entry["body"].keys() == {"held", "sealed"}
    kept = dict(guest.rows("SELECT name, content FROM kept"))
    assert not host.holds(json.loads(kept[f"seal:{call}"])["seal"]["salt"])
    pages = (f"animals/{animal}", f"animals/{animal}/calls", "held-calls")
    shown = [*(host.api.get(one).text for one in pages), *map(json.dumps, entries)]
    assert not any('"resistance"' in one for one in shown if animal in one)
    assert host.api.get(f"receipts/{call}").status_code == 404


def test_one_that_its_host_refuses_is_no_alarm_and_stays_shown(
    room: Room, host: Machine, guest: Machine, tmp_path: Path
) -> None:
    animal, _, call = late_call(room, host, guest, "S-3")
    decision = {"held": call, "admitted": False}
    push(host.api, envelope("late_call_decided", animal, decision))
    assert guest.sync(status=1)["left"]["refused"] == 1
    assert alarms(guest) == []
    file = tmp_path / "late"
    assert guest.run("receipt", call, str(file)).status == 0
    found = guest.well("verify", str(file), "--key", room.log_key)
    assert found["sealed"]["body"]["conclusion"] == "male"


def test_one_that_is_admitted_is_on_record_with_its_seal(
    room: Room, host: Machine, guest: Machine
) -> None:
    animal, _, call = late_call(room, host, guest, "S-4")
    push(host.api, envelope("late_call_decided", animal, {"held": call, "admitted": True}))
    guest.clock += 700
    found = guest.sync()
    assert found["alarm"] is None
    assert not found["faulty"]


@pytest.mark.one_in(1)
def test_one_that_is_made_to_disappear_is_an_alarm(
    room: Room, host: Machine, guest: Machine
) -> None:
    """Its rows are gone, and nobody knows it: it is held again as if it had just come."""
    _, _, call = late_call(room, host, guest, "S-5")
    alter(room, LOSE, call)
    found = guest.sync(status=1)
    (alarm,) = alarms(guest)
    assert (alarm["alarm"], alarm["kind"]) == (found["alarm"], "seal_broken")
    assert call in alarm["why"]
    assert "forgot it" in alarm["why"]
    set_aside(guest, alarm["alarm"])


def test_one_that_is_refused_by_nobody_is_an_alarm(
    room: Room, host: Machine, guest: Machine
) -> None:
    """It is gone and so is the visit: the record refuses what it had sealed."""
    _, visit, call = late_call(room, host, guest, "S-6")
    alter(room, LOSE, call)
    alter(room, NO_VISIT, visit)
    guest.sync(status=1)
    (alarm,) = alarms(guest)
    assert "no decision is on record" in alarm["why"]
    set_aside(guest, alarm["alarm"], status=1)


def test_one_whose_entry_seals_something_else_is_an_alarm(
    room: Room, host: Machine, guest: Machine
) -> None:
    _, _, call = late_call(room, host, guest, "S-7")
    guest.tamper("DELETE FROM kept WHERE name LIKE 'seal:%'")
    alter(room, ["UPDATE calls_seal SET salt = sha256(salt) WHERE held_id = %s"], call)
    guest.sync(status=1)
    (alarm,) = alarms(guest)
    assert "not what was sent" in alarm["why"]
    set_aside(guest, alarm["alarm"])


def test_an_entry_that_seals_ones_own_call_must_be_on_the_animals_record() -> None:
    link, other = (Link(7, bytes([one]) * 32) for one in (1, 2))
    require_seals([link], [], Opening(1, b"", b"", (), (link,)), size=8)
    require_seals([link], [], Opening(1, b"", b"", (), ()), size=7)
    with pytest.raises(NotShown, match="sealed at position 7"):
        require_seals([link], [], Opening(1, b"", b"", (), (other,)), size=8)

"""Inviting somebody to check animals from the command, by their address."""

from datetime import datetime, timedelta

import pytest
from tests.cli.rooms import Machine, Room, new_animal

pytestmark = pytest.mark.one_in(3)


@pytest.fixture(scope="module")
def odile(room: Room) -> Machine:
    machine = room.at_work("odile")
    new_animal(machine, "V1")
    machine.sync()
    return machine


def test_somebody_is_invited_by_letter_and_accepts_from_their_own_machine(
    room: Room, odile: Machine
) -> None:
    greta = room.keeper("greta")
    greta.sign_in(room.log_key)
    room.forget_throttles()
    days = ("--first", "2999-01-09", "--last", "2999-01-10")
    made = odile.well("invite", greta.email, "V1", *days)
    assert (made["state"], made["letter"], made["blind"]) == ("waiting", True, True)
    opens, closes = (datetime.fromisoformat(made[name]) for name in ("opens", "closes"))
    assert closes - opens == timedelta(days=2), "whole days, the last one too"
    shown = odile.run("invite", "nobody.yet@people.example", "V1", *days, "--open")
    assert "nobody.yet@people.example is invited" in shown.out
    assert shown.out.endswith("A letter goes there.\n")
    listed = odile.run("invitations").out
    assert f"you invited {greta.email}, 1 snake" in listed
    assert "nobody.yet@people.example" in listed
    (waits,) = greta.well("invitations")
    assert (waits["id"], waits["email"]) == (made["id"], None)
    assert "Odile invites you to check 1 snake" in greta.run("invitations").out
    assert greta.run("invitations", "--accept", made["id"]).out == "Accepted: it is a visit now.\n"
    assert odile.api.get(f"visits/{made['id']}").json()["state"] == "accepted"
    assert greta.sync()["in_my_name"] == 0
    assert greta.well("in-my-name") == [], "this machine signed that it accepts"


def test_it_is_declined_and_it_is_withdrawn(room: Room, odile: Machine) -> None:
    stan = room.keeper("stan")
    stan.sign_in(room.log_key)
    room.forget_throttles()
    times = ("--first", "2999-01-10T08:00", "--last", "2999-01-10T18:00")
    made = odile.well("invite", stan.email, "V1", *times)
    assert stan.run("invitations", "--decline", made["id"]).out == "Declined; its host reads it.\n"
    assert "declined" in odile.run("invitations").out
    assert odile.run("invitations", "--withdraw", made["id"]).out == "Withdrawn.\n"
    assert made["id"] not in odile.run("invitations").out


def test_what_is_no_invitation_is_refused(room: Room, odile: Machine) -> None:
    room.forget_throttles()
    for arguments, why in (
        (("nobody", "V1", "--last", "2999-01-10"), "This is not an e-mail address."),
        (("a@people.example", "V1", "--last", "soon"), "“soon” is not a day or time"),
        (("a@people.example", "V9", "--last", "2999-01-10"), "No animal “V9” is known here"),
        (("a@people.example", "V1", "--last", "2001-01-10"), "closes after it opens"),
    ):
        refused = odile.run("invite", *arguments)
        assert (refused.status != 0, why in refused.err) == (True, True), refused
    both = odile.run("invitations", "--accept", "x", "--decline", "y")
    assert "at a time" in both.err

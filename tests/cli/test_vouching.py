"""Answering for an examiner, or for who an account is, from the command."""

import pytest
from tests.cli.rooms import Machine, Room, envelope, fresh_id, new_animal, push
from tests.world import probing

pytestmark = pytest.mark.one_in(2)

CHIP = "999000000077812"


@pytest.fixture(scope="module")
def founders(room: Room) -> tuple[Machine, Machine]:
    stan, fenna = (room.keeper(name) for name in ("stan", "fenna"))
    room.stack.run("founders", "scalewitness", "name_founders", stan.email, fenna.email)
    for one in (stan, fenna):
        one.sign_in(room.log_key)
    return stan, fenna


def reported(odile: Machine, vet: Machine) -> tuple[str, str]:
    """An animal, and an endoscopy of it in the vet's name, at an address that its sender gave."""
    animal = new_animal(odile, "K1")
    chip = {"scheme": "transponder", "code": CHIP}
    push(odile.api, envelope("identifier_assigned", animal, chip))
    who = {"id": fresh_id(), "name": "Dr Ines Aldous"}
    odile.api.post("practitioners", json=who).raise_for_status()
    given = {"email": vet.email}
    odile.api.put(f"practitioners/{who['id']}/address", json=given).raise_for_status()
    body = probing("male", CHIP) | {"held_by": "sedated"}
    body |= {"identified": {"by": "transponder", "code": CHIP}}
    body |= {"observed": {"method": "endoscopy", "seen": "testes"}}
    body |= {"reported": {"role": "veterinarian", "who": who["id"]}}
    call = envelope("call_made", animal, body)
    push(odile.api, call)
    return animal, call["id"]


def test_two_who_are_tied_to_nobody_make_a_practice_s_word_count(
    room: Room, founders: tuple[Machine, Machine]
) -> None:
    odile, vet = room.at_work("odile"), room.keeper("ines")
    animal, call = reported(odile, vet)
    room.forget_throttles()
    shown = {"footing": "founder", "deceived": False, "may_vouch": True, "items": []}
    for one in founders:
        assert one.well("vouchers") == shown | {"log_origin": room.log_key.partition("+")[0]}
        made = one.well("vouch", vet.email, "--practice", "veterinarian")
        assert (made["keeper"]["name"], made["practice"]) == ("Ines", "veterinarian")
    stan, fenna = founders
    assert "You vouch for:\n  Ines, as a veterinary practice" in stan.run("vouchers").out
    again = fenna.run("vouch", vet.email, "--practice", "veterinarian")
    assert (again.status, "already" in again.err) == (1, True), again
    answer = envelope("report_answered", animal, {"call": call, "answer": "confirmed"})
    push(vet.api, answer)
    label = odile.api.get(f"animals/{animal}/standing").json()["label"]
    assert label == "verified male"


def test_a_voucher_is_ended_by_its_position(room: Room, founders: tuple[Machine, Machine]) -> None:
    stan, _ = founders
    greta = room.keeper("greta")
    room.forget_throttles()
    made = stan.run("vouch", greta.email).out
    assert made.startswith("You vouch for Greta, as an examiner (position ")
    (one,) = [one for one in stan.well("vouchers")["items"] if one["practice"] is None]
    wrong = stan.run("vouchers", "--end", str(one["position"] + 1))
    assert (wrong.status, "You vouch for nobody by position" in wrong.err) == (1, True)
    ended = stan.run("vouchers", "--end", str(one["position"])).out
    assert ended.startswith("You no longer vouch for Greta, as an examiner (position ")
    assert one not in stan.well("vouchers")["items"]


def test_who_may_not_vouch_is_told_so(room: Room) -> None:
    new, other = room.keeper("new"), room.keeper("other")
    new.sign_in(room.log_key)
    room.forget_throttles()
    refused = new.run("vouch", other.email)
    assert (refused.status, "Only founders" in refused.err) == (1, True), refused
    unknown = new.run("vouch", "nobody.here@keepers.example")
    assert (unknown.status, "No keeper has verified this address" in unknown.err) == (1, True)
    told = new.run("vouchers").out
    assert told.startswith("Your word does not verify a sex by itself yet.")
    assert told.endswith("You may not vouch for others.\n")

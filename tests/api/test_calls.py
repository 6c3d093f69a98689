"""Calls: made, read, withdrawn, objected to."""

from copy import deepcopy
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.moments import rfc3339

pytestmark = pytest.mark.one_in(4)


def call(who: Api, animal: Animal, sex: str = "male", **more: Any) -> Answer:
    return who.post(f"/animals/{animal.pk}/calls", fact(probing(sex, "A-1") | more))


def test_a_call_is_made_and_then_read(world: World, odile: Api, animal: Animal) -> None:
    sent = fact(probing("male", "A-1"), texts={"note": "Calm throughout."})
    made = odile.post(f"/animals/{animal.pk}/calls", sent)
    assert made.status == 201
    assert set(made.body) == {"id", "status", "position", "stamp", "receipt"}
    shown = odile.get(made.headers["Location"].removeprefix("/api/v1")).body
    assert (shown["method"], shown["conclusion"], shown["stage"]) == ("probing", "male", "unknown")
    assert shown["examiner"] == {
        "id": str(world.odile.pk),
        "name": "Odile Marten",
        "role": "keeper",
    }
    assert shown["observed"]["passes"][0] == {
        "side": "left",
        "depth": "9",
        "stopped": "resistance",
    }
    assert (shown["note"], shown["identity"]) == ("Calm throughout.", "tub_tag")
    assert (shown["blind"], shown["interested"], shown["withdrawn"]) == (False, True, False)
    assert not shown["second_hand"]
    assert shown["weight"]["log10_lr"] > 0


def test_calls_are_listed_in_log_order(odile: Api, animal: Animal) -> None:
    made = [call(odile, animal, sex).body["id"] for sex in ("male", "undetermined", "female")]
    assert [one["id"] for one in odile.get(f"/animals/{animal.pk}/calls").body["items"]] == made


def test_a_reported_call_names_whoever_made_it(odile: Api, animal: Animal) -> None:
    vet = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines Aldous"}).body
    body = {
        "conclusion": "female",
        "sureness": "certain",
        "observed": {"method": "endoscopy", "seen": "ovaries"},
        "identified": {"by": "tag", "code": "A-1"},
        "held_by": "sedated",
        "reported": {"role": "veterinarian", "who": vet["id"]},
    }
    made = odile.post(f"/animals/{animal.pk}/calls", fact(body)).body["id"]
    shown = odile.get(f"/calls/{made}").body
    assert shown["examiner"] == {**vet, "role": "veterinarian"}
    assert shown["sent_by"]["name"] == "Odile Marten"
    assert (shown["second_hand"], shown["interested"], shown["blind"]) == (True, True, False)


def test_nobody_reports_for_someone_they_have_not_named(odile: Api, animal: Animal) -> None:
    reported = {"role": "veterinarian", "who": str(new_id())}
    answer = call(odile, animal, reported=reported)
    assert (answer.code, answer.pointer) == ("out_of_range", "/body/reported/who")


def _change(path: str, value: object) -> dict[str, Any]:
    """A plain probing with one place changed."""
    body: Any = deepcopy(probing("male", "A-1"))
    *way, last = path.strip("/").split("/")
    place = body
    for step in way:
        place = place[int(step) if step.isdigit() else step]
    place[int(last) if last.isdigit() else last] = value
    return dict(body)


@pytest.mark.parametrize(
    ("path", "value", "code"),
    [
        ("/observed/passes/0/depth", "31", "out_of_range"),
        ("/observed/passes/1/depth", "99.5", "out_of_range"),
        ("/observed/passes/0/depth", "100", "wrong_shape"),
        ("/observed/passes/0/depth", "-1", "wrong_shape"),
        ("/observed/passes/0/depth", "9.25", "wrong_shape"),
        ("/observed/passes/0/depth", 9, "wrong_shape"),
        ("/observed/passes/0/side", "middle", "wrong_shape"),
        ("/observed/passes/0/stopped", "force", "wrong_shape"),
        ("/observed/probe_mm", "0.1", "out_of_range"),
        ("/observed/probe_mm", "12", "out_of_range"),
        ("/conclusion", "hermaphrodite", "wrong_shape"),
        ("/conclusion", None, "wrong_shape"),
        ("/sureness", "very", "wrong_shape"),
        ("/held_by", "nobody", "wrong_shape"),
        ("/told", "yes", "wrong_shape"),
        ("/harm", "bleeding", "wrong_shape"),
        ("/identified/code", "a\x00b", "out_of_range"),
        ("/visit", "1", "wrong_shape"),
    ],
)
def test_calls_that_cannot_be(
    odile: Api, animal: Animal, path: str, value: object, code: str
) -> None:
    """Depths go to 30 subcaudal scales: twice the deepest published range (our judgement)."""
    answer = odile.post(f"/animals/{animal.pk}/calls", fact(_change(path, value)))
    assert (answer.status, answer.code, answer.pointer) == (422, code, f"/body{path}")
    assert not Call.objects.exists()


def test_more_passes_than_a_check_has(odile: Api, animal: Animal) -> None:
    one = {"side": "left", "depth": "9", "stopped": "resistance"}
    answer = call(odile, animal, observed={"method": "probing", "passes": [one] * 13})
    assert (answer.code, answer.pointer) == ("out_of_range", "/body/observed/passes")


def test_an_unknown_method(odile: Api, animal: Animal) -> None:
    answer = call(odile, animal, observed={"method": "guessing"})
    assert (answer.code, answer.pointer) == ("wrong_shape", "/body/observed/method")


def test_a_call_of_the_future(odile: Api, animal: Animal) -> None:
    sent = fact(probing("male"), at=rfc3339(timezone.now() + timedelta(hours=25)))
    answer = odile.post(f"/animals/{animal.pk}/calls", sent)
    assert (answer.code, answer.pointer) == ("future_date", "/at")


def test_a_stranger_and_an_unknown_animal_look_alike(stan: Api, animal: Animal) -> None:
    answer, nowhere = call(stan, animal), call(stan, Animal(pk=new_id()))
    assert (answer.status, answer.code) == (404, "not_found")
    assert answer.body == nowhere.body


def test_a_viewer_may_look_and_not_examine(world: World, stan: Api, animal: Animal) -> None:
    viewer = {"to": str(world.stan.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", world.collection.pk, viewer)
    made = world.call(world.odile, animal, "male").id
    assert stan.get(f"/calls/{made}").body["conclusion"] == "male"
    answer = call(stan, animal)
    assert (answer.status, answer.code) == (403, "not_allowed")


# --- withdrawals and objections -------------------------------------------------------


def test_a_withdrawn_call_stays_and_no_longer_counts(odile: Api, animal: Animal) -> None:
    made = call(odile, animal).body["id"]
    sent = fact(texts={"note": "Another animal."})
    answer = odile.post(f"/calls/{made}/withdrawal", sent)
    assert (answer.status, answer.headers["Location"]) == (201, f"/api/v1/calls/{made}")
    shown = odile.get(f"/calls/{made}").body
    assert (shown["withdrawn"], shown["weight"]) == (True, None)
    assert shown["withdrawal"]["note"] == "Another animal."
    assert shown["withdrawal"]["position"] == answer.body["position"]
    again = odile.post(f"/calls/{made}/withdrawal", fact())
    assert (again.status, again.code) == (409, "not_now")


def test_only_its_sender_takes_a_call_back(
    world: World, odile: Api, pim: Api, stan: Api, animal: Animal
) -> None:
    world.make_partner(world.pim)
    made = call(odile, animal).body["id"]
    refused = [who.post(f"/calls/{made}/withdrawal", fact()) for who in (pim, stan)]
    assert {answer.code for answer in refused} == {"not_found"}
    assert refused[1].body == stan.post(f"/calls/{new_id()}/withdrawal", fact()).body


def test_a_guest_may_take_a_call_back_after_the_visit(world: World, animal: Animal) -> None:
    made = world.call(
        world.greta, animal, "male", visit=world.visit(world.greta, animal, days=2)
    ).id
    guest = Api(world.greta)  # thirty days later
    assert guest.get(f"/calls/{made}").body["sight"] == "own"
    assert guest.post(f"/calls/{made}/withdrawal", fact()).status == 201


def test_an_objection_stands_beside_the_call(
    world: World, odile: Api, pim: Api, animal: Animal
) -> None:
    world.make_partner(world.pim)
    made = call(odile, animal).body["id"]
    sent = fact({"ground": "wrong_animal"}, texts={"note": "That was A-2."})
    assert pim.post(f"/calls/{made}/objection", sent).status == 201
    shown = odile.get(f"/calls/{made}").body
    (objection,) = shown["objections"]
    assert (objection["by"]["name"], objection["ground"]) == ("Pim Alder", "wrong_animal")
    assert objection["note"] == "That was A-2."
    assert shown["weight"] is not None


def test_ones_own_call_is_withdrawn_instead(odile: Api, animal: Animal) -> None:
    made = call(odile, animal).body["id"]
    answer = odile.post(f"/calls/{made}/objection", fact({"ground": "other"}))
    assert (answer.status, answer.code) == (403, "not_allowed")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "/body"),
        ({"ground": "spite"}, "/body/ground"),
        ({"ground": "other", "call": str(new_id())}, "/body/call"),
    ],
)
def test_objections_that_cannot_be(
    world: World, odile: Api, pim: Api, animal: Animal, body: dict[str, str], pointer: str
) -> None:
    world.make_partner(world.pim)
    made = call(odile, animal).body["id"]
    answer = pim.post(f"/calls/{made}/objection", fact(body))
    assert (answer.status, answer.code, answer.pointer) == (422, "wrong_shape", pointer)


# --- the standing ---------------------------------------------------------------------


def test_a_standing_explains_itself(world: World, odile: Api) -> None:
    animal = world.verified("V-1")
    shown = odile.get(f"/animals/{animal.pk}/standing").body
    assert shown["label"] == shown["logged"]["label"] == "verified male"
    assert {line["kind"] for line in shown["lines"]} >= {"answer", "reason", "call", "caution"}
    assert len(shown["weights"]) == 3
    assert shown["used"]
    known = {"published", "web page", "common practice", "from memory", "our judgement"}
    assert {one["status"] for one in shown["used"]} <= known


def test_an_animal_without_calls_is_unsexed(odile: Api, animal: Animal) -> None:
    shown = odile.get(f"/animals/{animal.pk}/standing").body
    assert (shown["label"], shown["p_male"], shown["logged"]) == ("unsexed", 0.5, None)


def test_an_earlier_standing_is_what_was_logged_then(world: World, odile: Api) -> None:
    """Every logged standing is found again from the calls that counted at its position."""
    animal = world.verified("V-1")
    first = animal.calls.order_by("position").first()
    assert first is not None
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": str(first.pk)})
    world.say(world.odile, "particulars_corrected", animal.pk, {"species": "pantherophis_guttatus"})
    logged = list(animal.standings.order_by("position"))
    assert len(logged) == 5
    for row in logged:
        shown = odile.get(f"/animals/{animal.pk}/standing", at=row.position).body
        assert shown["logged"]["position"] == row.position
        assert (shown["label"], f"{shown['p_male']:.6f}") == (row.label, row.p_male)
    before = odile.get(f"/animals/{animal.pk}/standing", at=first.position).body
    assert (before["label"], before["logged"], before["weights"]) == ("unsexed", None, [])


@pytest.mark.parametrize("at", ["-1", "now", "1e3", "99999999999999999999", ""])
def test_positions_that_are_none(odile: Api, animal: Animal, at: str) -> None:
    answer = odile.get(f"/animals/{animal.pk}/standing", at=at)
    assert (answer.status, answer.code) == (400, "malformed")
    assert answer.body["parameter"] == "at"


def test_a_position_still_to_come_is_now(world: World, odile: Api, animal: Animal) -> None:
    world.call(world.odile, animal, "male")
    now = odile.get(f"/animals/{animal.pk}/standing").body
    assert odile.get(f"/animals/{animal.pk}/standing", at=2**53 - 1).body == now


# --- calls that came late -------------------------------------------------------------


@pytest.fixture
def late(world: World, animal: Animal) -> str:
    """Made on a visit that ended 27 days ago, and sent only now."""
    visit = world.visit(world.greta, animal, days=2)
    body = probing("male", "A-1") | {"visit": str(visit)}
    sent = fact(body, at=rfc3339(world.now + timedelta(days=1)), texts={"note": "In the car."})
    answer = Api(world.greta).post(f"/animals/{animal.pk}/calls", sent)
    assert (answer.status, answer.body["status"]) == (202, "held")
    assert "position" not in answer.body
    assert Api(world.greta).post(f"/animals/{animal.pk}/calls", sent).status == 202
    return str(sent["id"])


def test_a_held_call_waits_for_the_host(odile: Api, stan: Api, late: str) -> None:
    (shown,) = odile.get("/held-calls").body["items"]
    assert (shown["id"], shown["by"]["name"]) == (late, "Greta Lund")
    assert not {"conclusion", "method", "observed", "note"} & shown.keys()
    assert "probing" not in str(shown)
    assert stan.get("/held-calls").body["items"] == []


def test_an_admitted_call_enters_the_record(odile: Api, late: str) -> None:
    answer = odile.post(f"/held-calls/{late}/decision", fact({"admitted": True}))
    assert answer.status == 201
    shown = odile.get(f"/calls/{late}").body
    assert (shown["flags"], shown["note"]) == (["late"], "In the car.")
    assert shown["sent_by"]["name"] == "Greta Lund"
    assert odile.get("/held-calls").body["items"] == []
    again = odile.post(f"/held-calls/{late}/decision", fact({"admitted": False}))
    assert (again.status, again.code) == (409, "not_now")


def test_one_not_admitted_does_not(odile: Api, late: str) -> None:
    assert odile.post(f"/held-calls/{late}/decision", fact({"admitted": False})).status == 201
    assert odile.get(f"/calls/{late}").code == "not_found"
    answer = odile.get("/held-calls").body
    assert (answer["items"], answer["own"]) == ([], [])


@pytest.mark.parametrize(("admitted", "state"), [(True, "on_record"), (False, "not_admitted")])
def test_whoever_made_it_keeps_it_and_its_receipt(
    odile: Api, greta: Api, late: str, admitted: bool, state: str
) -> None:
    waits = greta.get(f"/calls/{late}").body
    assert (waits["state"], waits["conclusion"], waits["note"]) == ("waits", "male", "In the car.")
    assert greta.get("/held-calls").body["own"] == [waits]
    decided = odile.post(f"/held-calls/{late}/decision", fact({"admitted": admitted})).body
    for shown in (greta.get(f"/calls/{late}").body, greta.get("/held-calls").body["own"][0]):
        assert (shown["id"], shown["state"], shown["conclusion"]) == (late, state, "male")
    assert greta.get("/held-calls").body["own"][0]["decided"] == decided["position"]
    assert greta.get(f"/receipts/{late}").status == 200
    assert greta.get(f"/receipts/{decided['id']}").status == 200


def test_what_was_not_admitted_is_counted_and_not_told(
    odile: Api, world: World, animal: Animal, late: str
) -> None:
    path = f"/animals/{animal.pk}/calls"
    before = odile.get(path).body
    assert (len(before["late"]["waiting"]), before["late"]["not_admitted"]) == (1, [])
    odile.post(f"/held-calls/{late}/decision", fact({"admitted": False}))
    after = odile.get(path).body
    assert (after["late"]["waiting"], len(after["late"]["not_admitted"])) == ([], 1)
    assert "conclusion" not in str(after)


def test_nobody_else_decides(stan: Api, greta: Api, late: str) -> None:
    for who in (stan, greta):
        answer = who.post(f"/held-calls/{late}/decision", fact({"admitted": True}))
        assert (answer.status, answer.code) == (404, "not_found")


@pytest.mark.parametrize("body", [{}, {"admitted": "yes"}, {"admitted": None}])
def test_decisions_that_cannot_be(odile: Api, late: str, body: dict[str, object]) -> None:
    answer = odile.post(f"/held-calls/{late}/decision", fact(body))
    assert (answer.status, answer.code) == (422, "wrong_shape")


def test_a_call_within_two_weeks_of_the_visit_is_in_time(world: World, animal: Animal) -> None:
    present(world)
    world.pass_time(days=-10)
    visit = world.visit(world.greta, animal, days=2)
    sent = fact(
        probing("male", "A-1") | {"visit": str(visit)}, at=rfc3339(world.now + timedelta(days=1))
    )
    assert Api(world.greta).post(f"/animals/{animal.pk}/calls", sent).status == 201

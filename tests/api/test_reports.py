"""Reports: what was said in somebody's name, and who confirms it."""

from datetime import timedelta
from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import enter_address

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
DOCUMENT = "ab" * 32


@pytest.fixture
def vet() -> Keeper:
    return keeper("Ines Aldous")


@pytest.fixture
def reported(odile: Api, animal: Animal) -> str:
    """An endoscopy in the name of a veterinarian, with the fingerprint of her report."""
    named = odile.post("/practitioners", {"id": str(new_id()), "name": "Dr. Ines Aldous"}).body
    body = {
        "conclusion": "female",
        "sureness": "certain",
        "observed": {"method": "endoscopy", "seen": "ovaries"},
        "identified": {"by": "tag", "code": "A-1"},
        "held_by": "sedated",
        "reported": {"role": "veterinarian", "who": named["id"]},
        "document": DOCUMENT,
    }
    made: str = odile.post(f"/animals/{animal.pk}/calls", fact(body)).body["id"]
    return made


def ask_at(world: World, vet: Keeper) -> None:
    enter_address(Practitioner.objects.get(), vet.email, new_id(world.now), world.now)


def test_whom_it_names_reads_what_was_said_and_confirms(
    world: World, odile: Api, vet: Keeper, reported: str
) -> None:
    hers = Api(vet)
    assert hers.get("/reports").body == {"items": []}, "nobody says that it is she"
    ask_at(world, vet)
    (shown,) = hers.get("/reports").body["items"]
    assert (shown["call"], shown["conclusion"], shown["document"]) == (reported, "female", DOCUMENT)
    assert shown["sent_by"]["name"] == "Odile Marten"
    assert (shown["report"], shown["answer"], shown["confirms"]) == ("unconfirmed", None, True)
    said = fact({"answer": "confirmed"}, texts={"note": "On 3 October, under sedation."})
    assert hers.post(f"/calls/{reported}/answer", said).status == 201
    (shown,) = hers.get("/reports").body["items"]
    assert (shown["report"], shown["answer"]) == ("confirmed", "confirmed")
    whole = odile.get(f"/calls/{reported}").body
    assert whole["report"] == "confirmed"
    (one,) = whole["attestations"]
    assert (one["kind"], one["by"]["name"]) == ("report_answered", "Ines Aldous")
    assert (one["answer"], one["note"]) == ("confirmed", "On 3 October, under sedation.")
    assert hers.get(f"/calls/{reported}").status == 404, "she sees no animal"


def test_at_an_address_from_the_sender_she_is_told_that_it_confirms_nothing(
    world: World, odile: Api, vet: Keeper, reported: str
) -> None:
    named = f"/practitioners/{Practitioner.objects.get().pk}/address"
    assert Api(vet).put(named, {"email": vet.email}).status == 404, "it is Odile who named her"
    assert odile.put(named, {"email": "nowhere"}).pointer == "/email"
    assert odile.put(named, {"email": vet.email}).status == 204
    hers = Api(vet)
    assert hers.get("/reports").body["items"][0]["confirms"] is False
    hers.post(f"/calls/{reported}/answer", fact({"answer": "confirmed"}))
    assert odile.get(f"/calls/{reported}").body["report"] == "unconfirmed"


@pytest.mark.parametrize(
    ("way", "body"), [("document", {"document": DOCUMENT}), ("answer", {"answer": "denied"})]
)
def test_what_was_said_is_shown_as_of_its_position(
    world: World, odile: Api, vet: Keeper, reported: str, way: str, body: dict[str, Any]
) -> None:
    ask_at(world, vet)
    animal = Animal.objects.get()
    world.view(vet, animal)
    assert Api(vet).post(f"/calls/{reported}/{way}", fact(body)).status == 201
    said = odile.get(f"/calls/{reported}").body["attestations"][0]
    assert said["position"] > odile.get(f"/calls/{reported}").body["position"]


def test_what_a_witness_stated_is_shown_with_its_withdrawal(
    world: World, odile: Api, animal: Animal
) -> None:
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    call = world.call(world.odile, animal, "female", body={"observed": seen}).id
    hatched = (world.now + timedelta(days=29)).date().isoformat()
    present(world)
    young = world.animal("H-1", dam=str(animal.pk), hatched=hatched)
    world.view(world.stan, animal, young)
    his = Api(world.stan)
    said = fact({"young": str(young.pk)})
    assert his.post(f"/calls/{call}/witness", said).status == 201
    shown = odile.get(f"/calls/{call}").body
    assert (shown["report"], shown["attestations"][0]["young"]) == ("confirmed", str(young.pk))
    said = fact({}, texts={"note": "It was another clutch."})
    assert his.post(f"/calls/{call}/witness/withdrawal", said).status == 201
    shown = odile.get(f"/calls/{call}").body
    assert shown["report"] == "unconfirmed"
    kinds = [(one["kind"], one["note"]) for one in shown["attestations"]]
    assert kinds == [
        ("witness_stated", None),
        ("witness_withdrawn", "It was another clutch."),
    ]
    assert odile.post(f"/calls/{call}/witness/withdrawal", fact({})).status == 404


def test_nothing_reaches_a_guest_who_is_still_blind(
    world: World, vet: Keeper, reported: str, animal: Animal
) -> None:
    ask_at(world, vet)
    hers = Api(vet)
    world.visit(vet, animal, days=60)
    assert hers.get("/reports").body == {"items": []}
    for way, body in (("answer", {"answer": "denied"}), ("document", {"document": DOCUMENT})):
        assert hers.post(f"/calls/{reported}/{way}", fact(body)).status == 404
    assert hers.post(f"/calls/{reported}/witness", fact({})).status == 404


def test_a_laboratory_report_carries_marker_replicates_and_controls(
    odile: Api, animal: Animal
) -> None:
    observed = {"method": "dna", "system": "ZW", "sample": "shed", "found": "heterogametic"}
    more = {"marker": "CTNNB1 W", "replicates": 3, "failed_controls": 0}
    body: dict[str, Any] = {"conclusion": "female", "sureness": "certain", "held_by": "not_held"}
    body["identified"] = {"by": "appearance"}
    for given in (observed, observed | more):
        made = odile.post(f"/animals/{animal.pk}/calls", fact(body | {"observed": given})).body
        assert odile.get(f"/calls/{made['id']}").body["observed"] == given
    for wrong in ({"marker": "a@b.example"}, {"replicates": 0}, {"failed_controls": -1}):
        answer = odile.post(
            f"/animals/{animal.pk}/calls", fact(body | {"observed": observed | wrong})
        )
        assert answer.status == 422

"""Sales from the seller's side: drafted, offered, paid, handed over, closed."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339
from scalewitness.mail.models import Letter
from scalewitness.sales.models import Buyer, Sale

pytestmark = pytest.mark.one_in(4)

BUYER = {"name": "Bela Novak", "email": "bela@buyers.example"}


def draft(who: Api, world: World, *animals: Animal, **more: Any) -> Answer:
    sent = {
        "id": str(new_id()),
        "collection": str(world.collection.pk),
        "animals": [str(animal.pk) for animal in animals],
        "buyer": BUYER,
        **more,
    }
    return who.post("/sales", sent)


def terms(**more: Any) -> dict[str, Any]:
    expires = rfc3339(timezone.now() + timedelta(days=7))
    return {"recheck_days": 14, "remedy": "refund", "expires": expires, **more}


def test_a_draft_names_parties_and_animals(world: World, odile: Api, animal: Animal) -> None:
    answer = draft(odile, world, animal)
    assert answer.status == 201
    path = answer.headers["Location"].removeprefix("/api/v1")
    assert odile.get(path).body == answer.body
    assert (answer.body["state"], answer.body["offer"]) == ("draft", None)
    assert answer.body["buyer"] == {"id": answer.body["buyer"]["id"], **BUYER, "keeper": None}
    (listed,) = odile.get("/sales").body["items"]
    assert (listed["id"], listed["buyer"]) == (answer.body["id"], "Bela Novak")
    assert not Letter.objects.exists()


def test_a_draft_sent_again_changes_nothing(world: World, odile: Api, animal: Animal) -> None:
    sale = str(new_id())
    first, again = (draft(odile, world, animal, id=sale) for _ in range(2))
    assert (again.status, again.body) == (201, first.body)
    assert Buyer.objects.count() == 1


def test_an_id_stands_for_one_sale(world: World, odile: Api, stan: Api, animal: Animal) -> None:
    sale, other = str(new_id()), world.animal("A-2")
    draft(odile, world, animal, id=sale)
    for changed in (
        {"animals": [str(other.pk)]},
        {"animals": [str(animal.pk), str(other.pk)]},
        {"buyer": {**BUYER, "email": "someone.else@buyers.example"}},
        {"buyer": {**BUYER, "name": "Someone Else"}},
    ):
        answer = draft(odile, world, animal, **{"id": sale, **changed})
        assert (answer.status, answer.code) == (422, "id_reused"), changed
    assert Sale.objects.count() == Buyer.objects.count() == 1


def test_a_buyer_with_an_account_is_known(world: World, odile: Api, animal: Animal) -> None:
    buyer = {"name": "Stan", "email": world.stan.email}
    assert draft(odile, world, animal, buyer=buyer).body["buyer"]["keeper"] == str(world.stan.pk)


@pytest.mark.parametrize(
    ("more", "status", "code", "pointer"),
    [
        ({"collection": str(new_id())}, 404, "not_found", "/collection"),
        ({"animals": []}, 422, "wrong_shape", "/animals"),
        ({"animals": [str(new_id())]}, 422, "out_of_range", "/animals"),
        ({"animals": ["x"]}, 422, "wrong_shape", "/animals/0"),
        ({"buyer": {**BUYER, "email": "bela"}}, 422, "out_of_range", "/buyer/email"),
        ({"buyer": {**BUYER, "name": "B\nCc: x"}}, 422, "out_of_range", "/buyer/name"),
        ({"buyer": {"name": "Bela"}}, 422, "wrong_shape", "/buyer"),
        ({"buyer": None}, 422, "wrong_shape", "/buyer"),
        ({"price": 100}, 422, "wrong_shape", ""),
        ({"id": "1"}, 422, "wrong_shape", "/id"),
    ],
)
def test_drafts_that_cannot_be(
    world: World,
    odile: Api,
    animal: Animal,
    more: dict[str, Any],
    status: int,
    code: str,
    pointer: str,
) -> None:
    answer = draft(odile, world, animal, **more)
    assert (answer.status, answer.code, answer.pointer) == (status, code, pointer)
    assert not Sale.objects.exists()


def test_an_animal_is_named_once(world: World, odile: Api, animal: Animal) -> None:
    answer = draft(odile, world, animal, animal)
    assert (answer.code, answer.pointer) == ("out_of_range", "/animals")


def test_a_sale_is_the_sellers_and_the_partners(
    world: World, odile: Api, pim: Api, stan: Api, animal: Animal
) -> None:
    world.make_partner(world.pim)
    sale = draft(odile, world, animal).body["id"]
    assert pim.get(f"/sales/{sale}").status == 200
    assert stan.get(f"/sales/{sale}").body == stan.get(f"/sales/{new_id()}").body
    for step in ("offer", "payment", "handover", "closing", "withdrawal"):
        sent = fact(**terms()) if step == "offer" else fact()
        answer = stan.post(f"/sales/{sale}/{step}", sent)
        assert (answer.status, answer.code) == (404, "not_found"), step
    assert stan.get("/sales").body["items"] == []


def test_an_offer_represents_what_the_record_says(world: World, odile: Api) -> None:
    animal = world.verified("V-1")
    present(world)
    sale = draft(odile, world, animal).body["id"]
    answer = odile.post(f"/sales/{sale}/offer", fact(**terms(), texts={"note": "Eats well."}))
    assert (answer.status, answer.headers["Location"]) == (201, f"/api/v1/sales/{sale}")
    shown = odile.get(f"/sales/{sale}").body
    (represented,) = shown["offer"]["represents"]
    assert (represented["label"], shown["state"]) == ("verified male", "offered")
    assert (shown["offer"]["note"], shown["offer"]["remedy"]) == ("Eats well.", "refund")
    (letter,) = shown["letters"]
    assert (letter["kind"], letter["to"], letter["state"]) == ("offer", "Bela Novak", "waiting")
    (step,) = shown["steps"]
    assert (step["kind"], step["by"]) == ("offer_made", "seller")


def test_an_offer_said_again_represents_what_the_first_did(world: World, odile: Api) -> None:
    """Although the record has moved since."""
    animal = world.animal("A-1")
    sale = draft(odile, world, animal).body["id"]
    sent = fact(**terms())
    assert odile.post(f"/sales/{sale}/offer", sent).status == 201
    present(world)
    world.call(world.odile, animal, "male")
    again = odile.post(f"/sales/{sale}/offer", sent)
    assert (again.status, again.body["status"]) == (200, "duplicate")
    other = odile.post(f"/sales/{sale}/offer", {**sent, "recheck_days": 7})
    assert other.code == "id_reused"


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({"recheck_days": 366}, "wrong_shape", "/recheck_days"),
        ({"recheck_days": -1}, "wrong_shape", "/recheck_days"),
        ({"recheck_days": 1.5}, "wrong_shape", "/recheck_days"),
        ({"remedy": "store credit"}, "wrong_shape", "/remedy"),
        ({"expires": "soon"}, "wrong_shape", "/expires"),
        ({"expires": "2020-01-01T00:00:00.000Z"}, "out_of_range", "/expires"),
        ({"represents": []}, "wrong_shape", ""),
        ({"texts": {"note": "\x00"}}, "out_of_range", "/texts/note"),
    ],
)
def test_offers_that_cannot_be(
    world: World, odile: Api, animal: Animal, more: dict[str, Any], code: str, pointer: str
) -> None:
    sale = draft(odile, world, animal).body["id"]
    answer = odile.post(f"/sales/{sale}/offer", fact(**terms(**more)))
    assert (answer.status, answer.code, answer.pointer) == (422, code, pointer)


def test_steps_come_in_their_order(world: World, odile: Api, animal: Animal) -> None:
    present(world)
    sale = world.draft(animal)
    path = f"/sales/{sale.pk}"
    for step in ("payment", "handover", "closing", "withdrawal"):
        answer = odile.post(f"{path}/{step}", fact())
        assert (answer.status, answer.code) == (409, "not_now"), step
    offer = odile.post(f"{path}/offer", fact(**terms())).body
    assert odile.post(f"{path}/payment", fact()).code == "not_now"
    world.now = timezone.now()
    world.confirm(sale, offer["id"], offer["position"])
    for step, state in (("payment", "paid"), ("handover", "handed_over"), ("closing", "closed")):
        assert odile.post(f"{path}/{step}", fact()).status == 201
        assert odile.get(path).body["state"] == state
    kinds = [(one["kind"], one["by"]) for one in odile.get(path).body["steps"]]
    assert kinds == [
        ("offer_made", "seller"),
        ("sale_confirmed", "buyer"),
        ("payment_recorded", "seller"),
        ("handed_over", "seller"),
        ("sale_closed", "seller"),
    ]


def test_an_offer_is_taken_back(world: World, odile: Api, animal: Animal) -> None:
    sale = draft(odile, world, animal).body["id"]
    odile.post(f"/sales/{sale}/offer", fact(**terms()))
    sent = fact(texts={"note": "Keeping her after all."})
    assert odile.post(f"/sales/{sale}/withdrawal", sent).status == 201
    shown = odile.get(f"/sales/{sale}").body
    assert (shown["state"], shown["steps"][-1]["text"]) == ("withdrawn", "Keeping her after all.")


def test_a_step_takes_no_body_of_its_own(world: World, odile: Api, animal: Animal) -> None:
    sale = draft(odile, world, animal).body["id"]
    answer = odile.post(f"/sales/{sale}/closing", fact({"reason": "none"}))
    assert (answer.code, answer.pointer) == ("wrong_shape", "/body")
    assert odile.post(f"/sales/{sale}/closing", fact({})).code == "not_now"

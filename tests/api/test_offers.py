"""The buyer's way in: a link, no account."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.cautions import BEFORE_A_PURCHASE
from scalewitness.ledger.models import Text
from scalewitness.ledger.queries.tree import tip
from scalewitness.mail.models import Letter
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink, Sale

pytestmark = pytest.mark.one_in(4)

NOTHING_SEEN = {
    "digest": "ab" * 32,
    "animals": [
        {
            "animal": str(new_id()),
            "version": 1,
            "p_male": "0.500000",
            "p_male_pessimistic": "0.500000",
        }
    ],
}


@pytest.fixture
def verified(world: World) -> Animal:
    animal = world.verified("V-1")
    present(world)
    return animal


@pytest.fixture
def sale(world: World, verified: Animal) -> Sale:
    sale = world.draft(verified)
    world.offer(sale)
    world.now = timezone.now()
    return sale


@pytest.fixture
def buyer(db: None) -> Api:
    return Api()


def way_in(kind: str = "offer") -> str:
    """The path in the latest letter of a kind, as its reader would follow it."""
    letter = Letter.objects.filter(kind=kind).latest("created_at")
    return f"/offers/{link_token(UUID(letter.context['link']))}"


def confirm(buyer: Api, seen: int, **more: Any) -> Answer:
    """On what was seen at that position; on what is shown now, unless ``shown`` says otherwise."""
    more.setdefault("shown", buyer.get(way_in()).body["shown"])
    return buyer.post(f"{way_in()}/confirmation", fact(seen=seen, **more))


def look(buyer: Api) -> dict[str, Any]:
    shown = buyer.get(way_in()).body
    return {"seen": shown["seen"], "shown": shown["shown"]}


def test_a_buyer_reads_the_offer(sale: Sale, buyer: Api) -> None:
    answer = buyer.get(way_in())
    assert answer.status == 200
    shown = answer.body
    assert (shown["state"], shown["held"], shown["seen"]) == ("offered", [], tip().size - 1)
    assert (shown["seller"], shown["remedy"]) == ("Odile Marten", "refund")
    assert shown["cautions"] == list(BEFORE_A_PURCHASE)
    (animal,) = shown["animals"]
    assert animal["represented"] == animal["current"]
    assert animal["represented"]["label"] == "verified male"
    assert animal["identifiers"] == [{"scheme": "tag", "code": "V-1"}]
    assert animal["evidence"][0]["kind"] == "answer"
    assert [one["who"] for one in animal["calls"]] == [
        "the seller",
        "independent keeper",
        "independent keeper",
    ]


def test_examiners_go_by_their_part_and_not_by_name(world: World, sale: Sale, buyer: Api) -> None:
    vet = Api(world.odile).post("/practitioners", {"id": str(new_id()), "name": "Dr. Aldous"})
    body = {
        "conclusion": "male",
        "sureness": "certain",
        "observed": {"method": "endoscopy", "seen": "testes"},
        "identified": {"by": "tag", "code": "V-1"},
        "held_by": "sedated",
        "reported": {"role": "veterinarian", "who": vet.body["id"]},
    }
    animal = sale.animals.get()
    world.say(world.odile, "call_made", animal.pk, body, texts={"note": "Ask Dr. Aldous."})
    said = str(buyer.get(way_in()).body)
    assert "veterinarian (reported by the seller)" in said
    assert "Aldous" not in said
    assert "Guest V-1" not in said
    for call in animal.calls.all():
        assert str(call.by) not in said
        assert str(call.examiner) not in said


def test_a_buyer_confirms_what_they_saw(world: World, sale: Sale, buyer: Api) -> None:
    seen = buyer.get(way_in()).body["seen"]
    answer = confirm(buyer, seen, statement="I read the chip: it is him.")
    assert (answer.status, answer.body["status"]) == (201, "accepted")
    assert buyer.get(way_in()).body["state"] == "confirmed"
    text = Text.objects.get(fact=answer.body["id"])
    assert (text.field, text.text) == ("statement", "I read the chip: it is him.")
    shown = Api(world.odile).get(f"/sales/{sale.pk}").body
    assert (shown["steps"][-1]["by"], shown["steps"][-1]["text"]) == ("buyer", text.text)


def test_a_confirmation_sent_twice_is_one(sale: Sale, buyer: Api) -> None:
    sent = fact(**look(buyer))
    path = f"{way_in()}/confirmation"
    assert [buyer.post(path, sent).status for _ in range(2)] == [201, 200]
    key = {"Idempotency-Key": '"once"'}
    refusal = buyer.post(path, look(buyer), key)
    assert (refusal.status, refusal.code) == (409, "not_now")


def test_a_buyer_without_ids_uses_a_key(sale: Sale, buyer: Api) -> None:
    path, sent = f"{way_in()}/confirmation", look(buyer)
    assert buyer.post(path, sent).code == "idempotency_key_missing"
    key = {"Idempotency-Key": '"once"'}
    assert [buyer.post(path, sent, key).status for _ in range(2)] == [201, 200]


def test_what_moved_since_is_refused_with_what_changed(
    world: World, sale: Sale, buyer: Api
) -> None:
    """Promise 5: the buyer confirms what they saw."""
    animal, before = sale.animals.get(), look(buyer)
    code = {"scheme": "transponder", "code": "276 098 100 000 001"}
    world.say(world.odile, "identifier_assigned", animal.pk, code)
    answer = confirm(buyer, **before)
    assert (answer.status, answer.code) == (409, "standing_moved")
    assert answer.body["changed"] == [
        {
            "animal": str(animal.pk),
            "what": "codes",
            "was": "tag V-1",
            "now": "tag V-1, transponder 276098100000001",
        }
    ]
    assert confirm(buyer, **look(buyer)).status == 201


def test_a_fallen_standing_holds_the_sale(world: World, sale: Sale, buyer: Api) -> None:
    before = look(buyer)
    animal = sale.animals.get()
    world.call(world.odile, animal, "female")
    shown = buyer.get(way_in()).body
    assert (shown["state"], shown["held"]) == ("offered", ["standing_fell"])
    assert shown["animals"][0]["represented"]["label"] == "verified male"
    assert shown["animals"][0]["current"]["label"] == "contested"
    answer = confirm(buyer, **before)
    assert (answer.status, answer.code) == (409, "standing_moved")
    label, *probability = answer.body["changed"]
    assert label == {
        "animal": str(animal.pk),
        "what": "label",
        "was": "verified male",
        "now": "contested",
    }
    assert {one["what"] for one in probability} <= {"probability"}


def test_nobody_has_seen_what_is_still_to_come(sale: Sale, buyer: Api) -> None:
    answer = confirm(buyer, tip().size)
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/seen")


def test_a_new_offer_closes_the_link_of_the_old_one(world: World, sale: Sale, buyer: Api) -> None:
    old = way_in()
    world.offer(sale)
    answer = buyer.get(old)
    assert (answer.status, answer.code) == (404, "link_gone")
    assert buyer.get(way_in()).status == 200


@pytest.mark.parametrize(
    ("step", "state", "kind"),
    [("refusal", "declined", "offer_declined"), ("check-request", "offered", "check_requested")],
)
def test_a_buyer_declines_or_asks_for_a_check(
    world: World, sale: Sale, buyer: Api, step: str, state: str, kind: str
) -> None:
    answer = buyer.post(f"{way_in()}/{step}", fact(note="My vet would like to look first."))
    assert answer.status == 201
    assert buyer.get(way_in()).body["state"] == state
    last = Api(world.odile).get(f"/sales/{sale.pk}").body["steps"][-1]
    assert (last["kind"], last["by"]) == (kind, "buyer")
    assert last["text"] == "My vet would like to look first."
    assert Letter.objects.filter(kind=kind, recipient=world.odile.pk).exists()


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("confirmation", {"seen": -1}),
        ("confirmation", {"seen": "5"}),
        ("confirmation", {"seen": 2**60}),
        ("confirmation", {}),
        ("confirmation", {"seen": 1, "statement": 5}),
        ("confirmation", {"seen": 1}),
        ("confirmation", {"seen": 1, "shown": {"digest": "ab" * 32, "animals": []}}),
        ("confirmation", {"seen": 1, "shown": NOTHING_SEEN | {"digest": "ab"}}),
        ("refusal", {"note": 5}),
        ("check-request", {"reason": "none"}),
    ],
)
def test_words_of_a_buyer_that_cannot_be(
    sale: Sale, buyer: Api, path: str, body: dict[str, Any]
) -> None:
    answer = buyer.post(f"{way_in()}/{path}", fact(**body))
    assert (answer.status, answer.code) == (422, "wrong_shape")


@pytest.mark.parametrize("note", ["", "x" * 4001, "a\x00b"])
def test_texts_of_a_buyer_that_cannot_be(sale: Sale, buyer: Api, note: str) -> None:
    answer = buyer.post(f"{way_in()}/refusal", fact(note=note))
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/note")


# --- links that open nothing ----------------------------------------------------------


def _every_way(path: str, buyer: Api) -> list[Answer]:
    return [
        buyer.get(path),
        buyer.post(f"{path}/confirmation", fact(seen=0, shown=NOTHING_SEEN)),
        buyer.post(f"{path}/refusal", fact()),
        buyer.post(f"{path}/check-request", fact()),
    ]


def test_forged_unknown_expired_and_revoked_look_alike(
    world: World, sale: Sale, buyer: Api
) -> None:
    live, gone = way_in(), []
    gone += _every_way(live[:-1] + ("A" if live[-1] != "A" else "B"), buyer)
    gone += _every_way(f"/offers/{link_token(new_id())}", buyer)
    OfferLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    gone += _every_way(live, buyer)
    OfferLink.objects.update(
        expires_at=timezone.now() + timedelta(days=1), revoked_at=timezone.now()
    )
    gone += _every_way(live, buyer)
    assert {(answer.status, answer.code) for answer in gone} == {(404, "link_gone")}
    assert len({str(answer.body) for answer in gone}) == 1


@pytest.mark.parametrize("token", ["x", "%00", "%C3%28", "a:b", "..%2Fanimals", "x" * 2000, "☃"])
def test_tokens_that_are_none(buyer: Api, token: str) -> None:
    for answer in _every_way(f"/offers/{token}", buyer):
        assert answer.status == 404
        assert answer.code in {"link_gone", "not_found"}


def test_a_link_opens_its_own_sale_only(world: World, sale: Sale, buyer: Api) -> None:
    first = way_in()
    other = world.verified("V-2")
    world.now = timezone.now()
    world.offer(world.draft(other, email="other@buyers.example"))
    assert way_in() != first
    shown = [buyer.get(path).body["animals"][0]["identifiers"] for path in (first, way_in())]
    assert shown[0] != shown[1]


def test_a_link_to_an_offer_opens_no_disclosure(sale: Sale, buyer: Api) -> None:
    assert buyer.get(f"{way_in()}/disclosure").code == "link_gone"
    assert buyer.post(f"{way_in()}/acknowledgement", fact()).code == "link_gone"


def test_a_token_rests_hashed(sale: Sale) -> None:
    token = way_in().removeprefix("/offers/")
    assert token not in str(list(Letter.objects.values_list("context", flat=True)))
    kept = [str(value) for link in OfferLink.objects.values() for value in link.values()]
    assert not any(token in value for value in kept)


def test_the_seller_cannot_speak_for_the_buyer(world: World, sale: Sale) -> None:
    """Through push, with their own token."""
    item = world.item("sale_confirmed", sale.pk, {"offer": str(new_id()), "seen": 1})
    (outcome,) = Api(world.odile).post("/push", {"items": [item]}).body["items"]
    assert outcome["problem"]["code"] == "not_found"


def test_a_call_of_the_buyers_own_is_called_so(world: World, verified: Animal, buyer: Api) -> None:
    visit = world.visit(world.stan, verified)
    guest = fact(probing("male", "V-1") | {"visit": str(visit)})
    assert Api(world.stan).post(f"/animals/{verified.pk}/calls", guest).status == 201
    world.now = timezone.now()
    world.offer(world.draft(verified, email=world.stan.email))
    assert buyer.get(way_in()).body["animals"][0]["calls"][-1]["who"] == "you"

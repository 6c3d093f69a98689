"""What a buyer can do through their link beside confirming: codes, addresses, disputes."""

from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.api.test_offers import NOTHING_SEEN, way_in
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.disputes.models import Dispute, Statement
from scalewitness.ledger.queries.entries import texts_of
from scalewitness.ledger.queries.tree import tip
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import code_of, link_token
from scalewitness.sales.models import Buyer, OfferLink, Sale
from scalewitness.sales.queries import progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@pytest.fixture
def buyer(db: None) -> Api:
    return Api()


@told_once
def coded(world: World) -> Sale:
    animal = world.verified("C-1")
    present(world)
    sale = world.draft(animal, by_code=True)
    world.offer(sale)
    world.now = timezone.now()
    return sale


@told_once
def paid(world: World) -> Sale:
    animal = world.verified("V-1")
    present(world)
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    world.confirm(sale, offer.id, tip().size - 1)
    world.say(world.odile, "payment_recorded", sale.pk)
    world.now = timezone.now()
    return sale


def test_a_code_comes_by_letter_and_goes_with_the_confirmation(coded: Sale, buyer: Api) -> None:
    path = way_in()
    shown = buyer.get(path).body
    confirming = {"seen": shown["seen"], "shown": shown["shown"]}
    bare = buyer.post(f"{path}/confirmation", fact(**confirming))
    assert (bare.status, bare.body["code"]) == (409, "not_now")
    assert buyer.post(f"{path}/code", {}).status == 204
    letter = Letter.objects.get(kind="confirmation_code")
    right = code_of(UUID(letter.context["code_id"]))
    wrong = f"{(int(right) + 1) % 1_000_000:06}"
    assert buyer.post(f"{path}/confirmation", fact(**confirming, code=wrong)).status == 409
    assert progress_of(coded).state == "offered"
    spaced = f"{right[:3]} {right[3:]}"
    assert buyer.post(f"{path}/confirmation", fact(**confirming, code=spaced)).status == 201


def test_codes_run_out_for_a_while_and_only_where_one_is_asked_for(
    coded: Sale, paid: Sale, buyer: Api
) -> None:
    tries = [buyer.post(f"{link_of_sale(coded)}/code", {}).status for _ in range(6)]
    assert tries[0] == 204
    assert tries[-1] == 409
    assert buyer.post(f"{link_of_sale(paid)}/code", {}).status == 404


def link_of_sale(sale: Sale) -> str:
    links = OfferLink.objects.filter(sale=sale, purpose="offer").order_by("-pk")
    return f"/offers/{link_token(links[0].pk)}"


def test_the_buyer_moves_and_turns_reminders_off(paid: Sale, buyer: Api) -> None:
    path = link_of_sale(paid)
    moved = buyer.put(f"{path}/address", {"email": "bela.novak@post.example"})
    assert (moved.status, moved.body) == (200, {"again": 2}), "what waits still goes there"
    told = Letter.objects.get(kind="address_changed")
    assert told.to == "bela@buyers.example", "whoever reads the old address is told"
    assert buyer.put(f"{path}/reminders", {"wanted": False}).status == 204
    found = Buyer.objects.get(pk=paid.buyer_id)
    assert (found.email, found.reminders) == ("bela.novak@post.example", False)
    refused = buyer.put(f"{path}/address", {"email": "nowhere"})
    assert (refused.status, refused.body["errors"][0]["pointer"]) == (422, "/email")


def test_the_lasting_link_shows_what_was_bought(paid: Sale, buyer: Api, world: World) -> None:
    """As on pages: the offer's own link ends with the payment."""
    found = buyer.get(way_in("payment_recorded"))
    assert (found.status, found.body["state"]) == (200, "paid")
    (animal,) = found.body["animals"]
    assert animal["represented"]["label"] == animal["current"]["label"] == "verified male"
    confirming = fact(seen=tip().size - 1, shown=NOTHING_SEEN)
    refused = buyer.post(f"{way_in('payment_recorded')}/confirmation", confirming)
    assert refused.code == "link_gone", "it only shows"


def test_the_lasting_link_shows_nothing_that_later_keepers_find(
    paid: Sale, buyer: Api, world: World
) -> None:
    """Who sold it on has the link still."""
    animal = paid.animals.get()
    said = {"species": "python_regius", "hatched": "2024-06-01", "traits": ["coral"]}
    world.say(world.odile, "particulars_corrected", animal.pk, said)
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    found = buyer.get(way_in("payment_recorded")).body
    (shown,) = found["animals"]
    assert (shown["calls"], shown["evidence"], shown["traits"]) == ([], [], [])
    assert (found["shown"], shown["sensitivity"], shown["hatched"]) == (None, "", None)


def test_a_mistyped_address_shows_at_once(paid: Sale, buyer: Api) -> None:
    """A letter goes to the new address too, and says nothing of the sale; there are few."""
    path = link_of_sale(paid)
    for number in range(5):
        assert buyer.put(f"{path}/address", {"email": f"bela{number}@post.example"}).status == 200
    told = Letter.objects.filter(kind="address_in_use").order_by("created_at")
    assert [one.to for one in told] == [f"bela{number}@post.example" for number in range(5)]
    written = str(compose(told[0]).body)
    assert not any(name in written for name in ("Bela", "Odile", "V-1", "/offers/"))
    refused = buyer.put(f"{path}/address", {"email": "bela9@post.example"})
    assert (refused.status, refused.code) == (409, "not_now")


def test_the_seller_cannot_lead_letters_away(paid: Sale, odile: Api) -> None:
    refused = odile.put(f"/sales/{paid.pk}/address", {"email": "elsewhere@people.example"})
    assert (refused.status, refused.body["code"]) == (409, "not_now")
    assert not Letter.objects.filter(kind="address_changed").exists()


def test_a_buyer_reports_a_problem_and_says_more(paid: Sale, buyer: Api, odile: Api) -> None:
    path, dispute = link_of_sale(paid), new_id()
    animal = paid.animals.get()
    said = {"dispute": str(dispute), "animal": str(animal.pk), "note": "Laid a clutch today."}
    assert buyer.post(f"{path}/dispute", fact(**said)).status == 201
    opened = Dispute.objects.get()
    assert (opened.pk, opened.sale, opened.by) == (dispute, paid, paid.buyer_id)
    again = fact(**said | {"dispute": str(new_id()), "note": "Two more eggs."})
    assert [buyer.post(f"{path}/dispute", again).status for _ in range(2)] == [201, 200]
    assert Dispute.objects.count() == 1, "it is a statement in the open one"
    bare = fact(dispute=str(new_id()), animal=str(animal.pk))
    wordless = buyer.post(f"{path}/dispute", bare)
    assert (wordless.status, wordless.code) == (409, "not_now")
    more = fact(dispute=str(dispute), statement="Eight eggs.")
    assert buyer.post(f"{path}/statement", more).status == 201
    answer = fact(texts={"statement": "May I see them?"})
    assert odile.post(f"/disputes/{dispute}/statement", answer).status == 201
    said_there = [one["text"] for one in odile.get(f"/disputes/{dispute}").body["statements"]]
    assert said_there == ["Two more eggs.", "Eight eggs.", "May I see them?"]
    texts = texts_of(Statement.objects.values_list("pk", flat=True))
    assert len(texts) == 3


def test_a_buyer_answers_a_finding(paid: Sale, buyer: Api, odile: Api) -> None:
    path, dispute = link_of_sale(paid), new_id()
    said = {"dispute": str(dispute), "animal": str(paid.animals.get().pk)}
    assert buyer.post(f"{path}/dispute", fact(**said)).status == 201
    body = {"outcome": "unresolved", "basis": "agreement"}
    sent = fact(body, texts={"reasons": "We spoke on the telephone."})
    assert odile.post(f"/disputes/{dispute}/finding", sent).status == 201
    (shown,) = buyer.get(f"{path}/dispute").body["items"]
    found = shown["finding"]
    claim = "The seller says that both sides agree; the buyer has not confirmed it."
    assert (found["word"], found["reasons"]) == (claim, "We spoke on the telephone.")
    no = fact(dispute=str(dispute), finding=found["id"], agrees=False)
    assert [buyer.post(f"{path}/finding-answer", no).status for _ in range(2)] == [201, 200]
    read = odile.get(f"/disputes/{dispute}").body["finding"]
    assert read["word"] == "The seller says that both sides agree; the buyer denies it."
    assert read["answers"] == [{"by": "buyer", "agrees": False}]


def test_an_empty_statement_is_none(paid: Sale, buyer: Api) -> None:
    path, dispute = link_of_sale(paid), new_id()
    said = {"dispute": str(dispute), "animal": str(paid.animals.get().pk)}
    assert buyer.post(f"{path}/dispute", fact(**said)).status == 201
    empty = buyer.post(f"{path}/statement", fact(dispute=str(dispute), statement=" "))
    assert (empty.status, empty.body["errors"][0]["pointer"]) == (422, "/statement")


def test_a_paid_animal_is_released_by_its_buyer(paid: Sale, buyer: Api, odile: Api) -> None:
    wanted = fact(why="paid_back", texts={"note": "Sent on Tuesday."})
    asked = odile.post(f"/sales/{paid.pk}/release", wanted)
    assert asked.status == 201
    path = way_in("release_asked")
    shown = buyer.get(path).body["release"]
    assert (shown["asked"], shown["why"], shown["agreed"]) == (wanted["id"], "paid_back", False)
    denied = buyer.post(f"{path}/release", fact(asked=wanted["id"], answer="denied"))
    assert denied.status == 201
    assert odile.get(f"/sales/{paid.pk}").body["release"]["denied"]
    agreed = fact(asked=wanted["id"], answer="agreed", note="It has come.")
    assert [buyer.post(f"{path}/release", agreed).status for _ in range(2)] == [201, 200]
    found = odile.get(f"/sales/{paid.pk}").body
    assert (found["state"], found["release"]["agreed"]) == ("released", True)
    assert found["steps"][-1]["text"] == "It has come."

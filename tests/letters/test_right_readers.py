"""Along a chain of sales each reader gets one letter that says what concerns them, and nobody is
told what later keepers call the animal or what tags they give it."""

from collections import Counter
from datetime import timedelta
from uuid import UUID

import pytest
from django.test import Client
from django.urls import reverse
from tests.api.client import Api
from tests.letters.chain import Chain
from tests.world import World, new_id, probing

from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import AffectedPlan
from scalewitness.calls.queries.held import late_checks_of
from scalewitness.disclosures.queries import case_for_buyer
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.pages.animals.evidence import late_in_words
from scalewitness.pages.offers.animal import then_and_now
from scalewitness.people.models import Keeper
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import offer_in_force

pytestmark = pytest.mark.django_db
LATER = {
    "Odile Marten": ("TAG-OF-BELA", "TAG-OF-CLEO", "TAG-OF-DOV", "Moss", "Nettle", "Sorrel"),
    "Bela Abel": ("TAG-OF-CLEO", "TAG-OF-DOV", "Nettle", "Sorrel"),
    "Cleo Abel": ("TAG-OF-DOV", "Sorrel"),
    "Dov Abel": (),
}


@pytest.fixture
def chain(world: World) -> Chain:
    return Chain(world)


def texts_of(letter: Letter) -> str:
    message = compose(letter)
    return f"{message.subject}\n{message.body}\n{message.alternatives[0].content}"


def test_who_sold_on_gets_one_letter_that_says_what_concerns_them(chain: Chain) -> None:
    Letter.objects.all().delete()
    chain.fall()
    told = Letter.objects.exclude(kind="visit_invitation").exclude(to=chain.world.greta.email)
    count = Counter(one.context["to_name"] for one in told)
    kinds = {(one.context["to_name"], one.kind) for one in told}
    assert kinds == {
        ("Odile Marten", "dispute_opened"),
        ("Odile Marten", "standing_notice"),
        ("Bela Abel", "disclosure"),
        ("Cleo Abel", "disclosure"),
        ("Dov Abel", "disclosure"),
    }
    assert len(kinds) == sum(count.values())
    by_name = {one.context["to_name"]: str(compose(one).body) for one in told}
    for seller in ("Bela Abel", "Cleo Abel"):
        assert "You have sold the animal on." in by_name[seller]
    assert "/disputes/" not in by_name["Bela Abel"], "it is over a later sale than hers"
    assert "/disputes/" in by_name["Cleo Abel"]
    assert f"/animals/{chain.animal.pk}" in by_name["Dov Abel"]
    assert "Sorrel (ball python" in by_name["Dov Abel"], "as he has it"
    assert not any("in your care" in text for name, text in by_name.items() if name[0] != "D")


def test_nobody_is_told_codes_or_names_given_after_their_deal(chain: Chain) -> None:
    Letter.objects.all().delete()
    chain.fall()
    for letter in Letter.objects.exclude(to=chain.world.greta.email):
        text = texts_of(letter)
        for later in LATER[letter.context["to_name"]]:
            assert later not in text, letter.kind
        assert "V1" in text
    for number, sale in enumerate(chain.sales):
        seller, buyer = chain.keepers[number : number + 2]
        for page in pages_of(seller, sale):
            assert not any(later in page for later in LATER[seller.name])
        for page in pages_by_link(sale):
            assert not any(later in page for later in LATER[seller.name])
        assert any("V1" in page for page in pages_by_link(sale))
        for page in pages_of(buyer, None):
            assert not any(later in page for later in LATER[buyer.name])


def pages_of(keeper: Keeper, sale: Sale | None) -> list[str]:
    browser, api = Client(), Api(keeper)
    browser.force_login(keeper)
    paths = ["/", "/sales", "/disclosures", "/disputes"]
    asked = ["/sales", "/disclosures", "/disputes"]
    if sale is not None:
        paths += [f"/sales/{sale.pk}"]
        asked += [f"/sales/{sale.pk}"]
    found = [browser.get(path).content.decode() for path in paths]
    return [*found, *(str(api.get(path).body) for path in asked)]


def pages_by_link(sale: Sale) -> list[str]:
    link = OfferLink.objects.filter(sale=sale, purpose="disclosure", revoked_at=None).latest("pk")
    path = f"/offers/{link_token(link.pk)}"
    anyone, api = Client(), Api()
    answers = [api.get(path), api.get(f"{path}/disclosure")]
    assert [one.status for one in answers] == [200, 200]
    page = anyone.get(path)
    assert page.status_code == 200
    return [page.content.decode(), *(str(one.body) for one in answers)]


def test_that_checks_of_later_keepers_came_late_is_not_for_earlier_buyers(chain: Chain) -> None:
    """It would count them for somebody who may come back to check the animal blind."""
    world, animal, dov = chain.world, chain.animal, chain.keepers[-1]
    visit, at = new_id(world.now), world.now + timedelta(hours=2)
    invited = {
        "collection": str(chain.rooms[-1].pk),
        "guest": str(world.stan.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(world.now),
        "closes": rfc3339(world.now + timedelta(days=1)),
        "blind": True,
    }
    world.say(dov, "visit_invited", visit, invited)
    world.say(world.stan, "visit_accepted", visit)
    world.pass_time(days=16)
    calls = [
        world.item("call_made", animal.pk, probing("female") | {"visit": str(visit)}, at=at)
        for _ in range(2)
    ]
    held, other = world.push(world.stan, *calls)
    world.say(dov, "late_call_decided", animal.pk, {"held": other.id, "admitted": False})
    assert held.status == "held"
    chain.fall()
    link = OfferLink.objects.filter(sale=chain.sales[0], purpose="disclosure").latest("pk")
    token = link_token(link.pk)
    assert "late check" in " ".join(late_in_words(late_checks_of(animal.pk))).lower()
    assert "late check" not in Client().get(f"/offers/{token}").content.decode().lower()
    (shown,) = Api().get(f"/offers/{token}").body["animals"]
    assert shown["late"] == {"waiting": [], "not_admitted": []}
    keeps = case_for_buyer(animal, chain.sales[2]).late
    assert (len(keeps.waiting), len(keeps.not_admitted)) == (1, 1)
    (compared,) = then_and_now(chain.sales[0], offer_in_force(chain.sales[0]))
    assert compared["late"] == []


def test_a_lasting_link_shows_ones_own_deal_and_the_news_owed(chain: Chain) -> None:
    """Not what later keepers recorded in between, in no page, answer, paper or receipt."""
    world, animal = chain.world, chain.animal
    dov = chain.keepers[-1]
    own = {one.pk for one in animal.calls.all()}
    world.say(dov, "call_made", animal.pk, probing("male", "TAG-OF-DOV"))
    between = animal.calls.get(by=dov.pk)
    photo = world.item("photo_attached", animal.pk, {"sha256": "ab" * 32, "size": 9000})
    accept_one(photo, Actor(keeper=dov.pk), world.now)
    chain.fall()
    fall = animal.calls.get(by=world.greta.pk)
    theirs = {chain.sales[0]: own | {fall.pk}, chain.sales[2]: own | {between.pk, fall.pk}}
    for sale, calls in theirs.items():
        link = OfferLink.objects.filter(sale=sale, purpose="disclosure").latest("pk")
        token, case = link_token(link.pk), case_for_buyer(animal, sale)
        assert {one.call.pk for one in case.calls} == calls
        (shown,) = Api().get(f"/offers/{token}").body["animals"]
        assert len(shown["calls"]) == len(calls)
        page = Client().get(f"/offers/{token}").content.decode()
        assert page.count(f"log position {between.position}") == (between.pk in calls)
        for one in (between.pk, UUID(photo["id"])):
            status = Client().get(reverse("offer_receipt", args=[token, one])).status_code
            assert status == (200 if between.pk in calls else 404)
        assert Client().get(reverse("offer_receipt", args=[token, fall.pk])).status_code == 200
        paper = Client().get(reverse("offer_record", args=[token, animal.pk]))
        assert paper.status_code == 200


@pytest.mark.parametrize("days", [0, 5])
def test_no_letter_tells_a_guest_of_a_mate_that_they_check_blind_out_of_sight(
    world: World, days: int
) -> None:
    """Their visit is to open yet, or is over, and the call may still be on their phone."""
    secret = world.verified("X1", "male")
    room = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    world.say(world.greta, "grant_given", room.pk, {"to": str(world.odile.pk), "role": "partner"})
    own, visit, opens = world.animal("M1", room=room), new_id(), world.now + timedelta(days=1)
    invited = {"collection": str(world.collection.pk), "guest": str(world.greta.pk), "blind": True}
    invited |= {"animals": [str(secret.pk)], "opens": rfc3339(opens)}
    invited["closes"] = rfc3339(opens + timedelta(days=1))
    world.say(world.odile, "visit_invited", visit, invited)
    world.say(world.greta, "visit_accepted", visit)
    world.pass_time(days=days)
    pair = {"sire": str(secret.pk), "dam": str(own.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    (counted,) = secret.calls.filter(by=world.fenna.pk)
    world.say(world.fenna, "call_withdrawn", secret.pk, {"call": str(counted.pk)})
    world.say(world.odile, "animal_ended", secret.pk, {"why": "lost"})

    assert AffectedPlan.objects.filter(collection=room.pk).exists()
    kinds = ["pairing_affected", "animal_ended"]
    assert not Letter.objects.filter(to=world.greta.email, kind__in=kinds).exists()
    world.now = max(world.now, opens + timedelta(hours=2))
    world.call(world.greta, secret, "male", visit=visit, at=opens + timedelta(hours=1))
    assert secret.calls.get(by=world.greta.pk).blind

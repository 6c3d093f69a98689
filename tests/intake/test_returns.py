"""Returned, by the seller's word: told to the buyer, who has the last word on it for a while."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.intake.test_custody import move, shelf
from tests.intake.test_sales import refused
from tests.plugins.told_once import told_once
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import Refused
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept_one
from scalewitness.letters.sales import as_sold
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import link_behind
from scalewitness.sales.queries.returns import last_return

pytestmark = pytest.mark.django_db

SECOND = "next@buyers.example"


@told_once
def animal(world: World) -> Animal:
    return world.verified("R1")


@told_once
def sold(world: World, animal: Animal) -> Sale:
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    return sale


def state(world: World, animal: Animal) -> str:
    said = last_return(animal.pk, world.now)
    return said.state if said else "never"


def answer(world: World, sale: Sale, said: Outcome, word: str) -> Outcome:
    body = {"move": said.id, "answer": word}
    return accept_one(world.item("return_answered", sale.pk, body), world.buyer(sale), world.now)


def offered_again(world: World, animal: Animal) -> bool:
    try:
        return world.offer(world.draft(animal, email=SECOND)).status == "accepted"
    except Refused:
        return False


def deliver(world: World, said: Outcome) -> None:
    """The mail host took the letter about it."""
    letters = Letter.objects.filter(kind="return_claimed", cause=UUID(said.id or ""))
    assert letters.update(state=Letter.State.SENT, sent_at=world.now) == 1


def test_the_seller_alone_gets_nothing_back(world: World, animal: Animal, sold: Sale) -> None:
    said = world.back(sold, animal, answer=None)
    assert state(world, animal) == "waiting"
    with pytest.raises(Refused, match="can still deny") as error:
        world.offer(world.draft(animal, email=SECOND))
    assert refused(error) == "not_now"
    letter = Letter.objects.get(kind="return_claimed")
    assert (letter.to, letter.cause) == ("bela@buyers.example", UUID(said.id or ""))
    assert letter.context["animal"] == as_sold(animal, sold)
    token = link_token(UUID(letter.context["link"]))
    assert link_behind(token, world.now + timedelta(days=60)).sale == sold


def test_confirmed_it_is_sold_again(world: World, animal: Animal, sold: Sale) -> None:
    world.back(sold, animal)
    assert state(world, animal) == "confirmed"
    assert offered_again(world, animal)
    assert Letter.objects.get(kind="return_answered").to == world.odile.email


def test_denied_it_stays_the_buyers(world: World, animal: Animal, sold: Sale) -> None:
    said = world.back(sold, animal, answer="denied")
    deliver(world, said)
    world.pass_time(days=60)
    assert state(world, animal) == "denied"
    assert not offered_again(world, animal)
    assert Letter.objects.get(kind="return_answered").context["answer"] == "denied"
    with pytest.raises(Refused, match="has its answer already"):
        answer(world, sold, said, "confirmed")


def test_what_was_denied_may_come_back_later(world: World, animal: Animal, sold: Sale) -> None:
    world.back(sold, animal, answer="denied")
    world.back(sold, animal)
    assert offered_again(world, animal)


def test_of_who_denied_it_once_silence_frees_nothing(
    world: World, animal: Animal, sold: Sale
) -> None:
    """However often it is said again: until they say yes."""
    before = world.back(sold, animal, answer="denied")
    said = world.back(sold, animal, answer=None)
    deliver(world, said)
    world.pass_time(days=60)
    with pytest.raises(Refused, match="has denied once"):
        world.offer(world.draft(animal, email=SECOND))
    last = last_return(animal.pk, world.now)
    assert last is not None
    assert (last.state, "only their yes counts" in last.in_words) == ("waiting", True)
    claimed = Letter.objects.filter(kind="return_claimed")
    again, first = (claimed.get(cause=UUID(one.id or "")) for one in (said, before))
    assert (first.context["denied_before"], again.context["denied_before"]) == (False, True)
    assert "Only your yes counts now" in compose(again).body
    answer(world, sold, said, "confirmed")
    assert offered_again(world, animal)


def test_silence_counts_from_the_letter_for_fourteen_days(
    world: World, animal: Animal, sold: Sale
) -> None:
    said = world.back(sold, animal, answer=None)
    world.pass_time(days=30)
    assert not offered_again(world, animal), "nobody was told yet"
    deliver(world, said)
    world.pass_time(days=13, hours=23)
    assert not offered_again(world, animal)
    world.pass_time(hours=1)
    assert state(world, animal) == "silent"
    with pytest.raises(Refused, match="report a problem instead"):
        answer(world, sold, said, "denied")
    assert offered_again(world, animal)
    offer = Letter.objects.get(kind="offer", to=SECOND)
    (said_of,) = offer.context["represents"]
    assert said_of["returned"].startswith("returned, by the seller’s word")


def test_a_letter_that_came_back_told_nobody(world: World, animal: Animal, sold: Sale) -> None:
    said = world.back(sold, animal, answer=None)
    deliver(world, said)
    Letter.objects.filter(kind="return_claimed").update(state=Letter.State.RETURNED)
    world.pass_time(days=30)
    assert state(world, animal) == "waiting"


def test_a_date_long_past_shortens_nothing(world: World, animal: Animal, sold: Sale) -> None:
    home = {"to": str(world.collection.pk), "why": "returned", "sale": str(sold.pk)}
    past = world.now - timedelta(days=60)
    world.say(world.odile, "custody_changed", animal.pk, home, at=past)
    world.pass_time(days=13)
    assert state(world, animal) == "waiting"


def test_a_walk_through_ones_own_rooms_brings_nothing_back(
    world: World, animal: Animal, sold: Sale
) -> None:
    other = shelf(world, world.odile)
    move(world, world.odile, animal, other, "moved")
    move(world, world.odile, animal, world.collection, "returned")
    assert state(world, animal) == "never"
    assert not offered_again(world, animal)


def test_it_is_said_once_at_a_time(world: World, animal: Animal, sold: Sale) -> None:
    world.back(sold, animal, answer=None)
    with pytest.raises(Refused, match="said so already"):
        world.back(sold, animal, answer=None)
    assert Letter.objects.filter(kind="return_claimed").count() == 1


def test_only_its_buyer_answers_and_only_what_was_said(
    world: World, animal: Animal, sold: Sale
) -> None:
    other = world.sold(world.verified("R2"), email=SECOND)
    world.say(world.odile, "handed_over", other.pk)
    said = world.back(sold, animal, answer=None)
    body = {"move": said.id, "answer": "confirmed"}
    with pytest.raises(Refused) as error:
        world.say(world.odile, "return_answered", sold.pk, body)
    assert refused(error) == "not_found"
    with pytest.raises(Refused) as error:
        answer(world, other, said, "confirmed")
    assert refused(error) == "out_of_range"
    assert state(world, animal) == "waiting"


def test_a_buyer_who_keeps_it_gives_it_back_by_their_own_word(world: World, animal: Animal) -> None:
    sale = world.sold(animal, email=world.stan.email)
    theirs = shelf(world, world.stan)
    world.say(world.odile, "handed_over", sale.pk)
    move(world, world.odile, animal, theirs, "sold", sale=str(sale.pk))
    move(world, world.stan, animal, world.collection, "returned", sale=str(sale.pk))
    assert state(world, animal) == "by_buyer"
    assert offered_again(world, animal)
    assert not Letter.objects.filter(kind="return_claimed").exists()
    links = OfferLink.objects.filter(sale=sale, purpose="disclosure")
    assert links.count() == 2, "of the payment and of the handover"

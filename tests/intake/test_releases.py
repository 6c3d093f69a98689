"""A payment recorded by mistake or paid back: only its buyer's yes makes the animal free."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.intake.test_custody import move, shelf
from tests.intake.test_sales import refused
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.errors import Refused
from scalewitness.domain.sales import ASK_AGAIN_AFTER
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept_one
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import last_release, link_behind, progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

SECOND = "next@buyers.example"


@told_once
def animal(world: World) -> Animal:
    return world.verified("L1")


@told_once
def paid(world: World, animal: Animal) -> Sale:
    return world.sold(animal)


def ask(world: World, sale: Sale, why: str = "paid_back") -> Outcome:
    return world.say(sale.collection.keeper, "release_asked", sale.pk, {"why": why})


def answer(
    world: World, sale: Sale, asked: Outcome, word: str, who: Actor | None = None
) -> Outcome:
    item = world.item(f"release_{word}", sale.pk, {"asked": asked.id})
    return accept_one(item, who or world.buyer(sale), world.now)


def offered_to_another(world: World, animal: Animal) -> bool:
    try:
        return world.offer(world.draft(animal, email=SECOND)).status == "accepted"
    except Refused:
        return False


def words(sale: Sale) -> str:
    found = last_release(Sale.objects.get(pk=sale.pk))
    return found.in_words if found else ""


@pytest.mark.parametrize("why", ["recorded_by_mistake", "paid_back"])
def test_agreed_the_sale_is_over_and_the_animal_is_offered_anew(
    world: World, animal: Animal, paid: Sale, why: str
) -> None:
    asked = ask(world, paid, why)
    letter = Letter.objects.get(kind="release_asked")
    link = link_behind(link_token(UUID(letter.context["link"])), world.now + timedelta(days=60))
    assert (letter.to, link.sale) == (paid.buyer.email, paid)
    assert "your silence" in compose(letter).body
    answer(world, paid, asked, "agreed")
    assert progress_of(paid).state == "released"
    assert words(paid).startswith("as seller and buyer both say, the payment was")
    assert offered_to_another(world, animal)
    told = Letter.objects.get(kind="release_answered")
    assert (told.to, told.context["agrees"]) == (world.odile.email, True)
    assert Letter.objects.get(kind="released").to == paid.buyer.email
    with pytest.raises(Refused, match="does not follow a sale that is released"):
        world.say(world.odile, "handed_over", paid.pk)
    with pytest.raises(Refused, match="does not follow a sale that is released"):
        world.offer(paid)


def test_silence_never_frees_a_paid_animal(world: World, animal: Animal, paid: Sale) -> None:
    ask(world, paid)
    Letter.objects.filter(kind="release_asked").update(state="sent", sent_at=world.now)
    world.pass_time(days=400)
    assert progress_of(paid).state == "paid"
    assert "has not answered yet" in words(paid)
    assert not offered_to_another(world, animal)
    assert Letter.objects.filter(kind="sold_elsewhere").count() == 1, "the buyer hears of it"


def test_denied_it_stays_the_buyers_who_may_still_agree(
    world: World, animal: Animal, paid: Sale
) -> None:
    asked = ask(world, paid)
    answer(world, paid, asked, "denied")
    assert "the buyer denies that" in words(paid)
    assert not offered_to_another(world, animal)
    with pytest.raises(Refused, match="denied this already"):
        answer(world, paid, asked, "denied")
    answer(world, paid, asked, "agreed")
    assert offered_to_another(world, animal)


def test_a_seller_who_asks_again_and_again_wears_nobody_out(world: World, paid: Sale) -> None:
    first = ask(world, paid)
    answer(world, paid, first, "denied")
    with pytest.raises(Refused, match="within the last 7 days") as error:
        ask(world, paid, "recorded_by_mistake")
    assert refused(error) == "not_now"
    assert Letter.objects.filter(kind="release_asked").count() == 1
    world.pass_time(days=ASK_AGAIN_AFTER.days)
    again = ask(world, paid, "recorded_by_mistake")
    with pytest.raises(Refused, match="not what the seller asks now"):
        answer(world, paid, first, "agreed")
    answer(world, paid, again, "agreed")


def test_nobody_but_the_buyer_agrees(world: World, paid: Sale) -> None:
    other = world.sold(world.verified("L2"), email=SECOND)
    asked = ask(world, paid)
    for who in (Actor(keeper=world.odile.pk), Actor(keeper=world.stan.pk), world.buyer(other)):
        with pytest.raises(Refused) as error:
            answer(world, paid, asked, "agreed", who)
        assert refused(error) == "not_found"
    with pytest.raises(Refused) as error:
        answer(world, other, asked, "agreed")
    assert refused(error) == "out_of_range"
    with pytest.raises(Refused) as error:
        world.say(world.stan, "release_asked", paid.pk, {"why": "paid_back"})
    assert refused(error) == "not_found"


def test_by_a_link_to_an_address_that_the_seller_gave_nothing_is_released(
    world: World, animal: Animal
) -> None:
    """The letters came back once; the seller named another address, which may be their own."""
    paid = world.sold(animal, email=world.stan.email)
    Letter.objects.filter(to=paid.buyer.email).update(state=Letter.State.RETURNED)
    send_elsewhere(paid, "odd@buyers.example", world.now, seller=world.odile.pk)
    asked = ask(world, paid)
    with pytest.raises(Refused, match="from your account alone"):
        answer(world, paid, asked, "agreed")
    answer(world, paid, asked, "agreed", Actor(keeper=world.stan.pk))
    assert progress_of(paid).state == "released"


def test_what_has_gone_to_its_buyer_is_returned_instead(world: World, animal: Animal) -> None:
    paid = world.sold(animal, email=world.stan.email)
    asked = ask(world, paid)
    move(world, world.odile, animal, shelf(world, world.stan), "sold", sale=str(paid.pk))
    with pytest.raises(Refused, match="has gone to its buyer"):
        answer(world, paid, asked, "agreed")
    world.pass_time(days=30)
    with pytest.raises(Refused, match="has gone to its buyer"):
        ask(world, paid)


def test_who_released_it_is_owed_no_more_news(world: World, animal: Animal, paid: Sale) -> None:
    answer(world, paid, ask(world, paid), "agreed")
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    assert not Disclosure.objects.exists()


def test_nothing_is_asked_before_the_payment_or_after_the_handover(
    world: World, animal: Animal
) -> None:
    sale = world.draft(animal)
    with pytest.raises(Refused, match="does not follow a sale that is draft"):
        ask(world, sale)
    world.pay(sale)
    asked = ask(world, sale)
    world.say(world.odile, "handed_over", sale.pk)
    with pytest.raises(Refused, match="does not follow a sale that is handed over"):
        answer(world, sale, asked, "agreed")
    made_up = Outcome(id=str(new_id(world.now)), status="accepted")
    with pytest.raises(Refused):
        answer(world, sale, made_up, "denied")

"""The buyer says whether the snake that arrived is the one that was sold."""

from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_sales import refused
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.arrivals import MOST_A_DAY
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.sales.models import Sale
from scalewitness.sales.queries.arrivals import Arrival, arrivals_of
from scalewitness.standings.queries.logged import labels_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

CHIP = "276098100000001"
OTHER = "276098100000002"


@told_once
def animal(world: World) -> Animal:
    animal = world.verified("R1")
    give(world, animal, CHIP)
    return animal


@told_once
def sold(world: World, animal: Animal) -> Sale:
    return world.sold(animal)


def give(world: World, animal: Animal, code: str, kind: str = "identifier_assigned") -> None:
    world.say(world.odile, kind, animal.pk, {"scheme": "transponder", "code": code})


def says(world: World, sale: Sale, answer: str, **more: Any) -> Outcome:
    return accept_one(item(world, sale, answer, **more), world.buyer(sale), world.now)


def item(world: World, sale: Sale, answer: str, **more: Any) -> dict[str, Any]:
    body = {"animal": str(sale.animals.get().pk), "answer": answer, **more}
    return world.item("arrival_compared", sale.pk, body)


def pictured(world: World, animal: Animal) -> str:
    said = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file()))
    photo = UUID(said.id or "")
    take_photo_file(photo, plain_file(), Actor(keeper=world.odile.pk), world.now)
    return str(photo)


def last(sale: Sale) -> Arrival:
    return arrivals_of(Sale.objects.get(pk=sale.pk))[-1]


def told(recipient: UUID) -> list[str]:
    letters = Letter.objects.filter(recipient=recipient, kind__startswith="arrival_compared")
    return sorted(one.context["answer"] for one in letters)


def test_another_snake_is_recorded_and_told_and_changes_no_standing(
    world: World, animal: Animal, sold: Sale
) -> None:
    before = labels_of([animal.pk])
    said = says(world, sold, "another", read=OTHER)
    assert said.position is not None
    assert last(sold).in_words == (
        f"another snake arrived, by its buyer’s word; the transponder they read, {OTHER}, is not "
        "the one on record"
    )
    assert told(world.odile.pk) == told(sold.buyer_id) == ["another"]
    assert labels_of([animal.pk]) == before
    letter = compose(Letter.objects.get(kind="arrival_compared")).subject
    assert letter.startswith("Another snake arrived, says Bela")


def test_a_double_tap_is_one_answer_and_whoever_thinks_again_says_it_anew(
    world: World, sold: Sale
) -> None:
    tapped = item(world, sold, "same", read=CHIP)
    first, again = (accept_one(tapped, world.buyer(sold), world.now) for _ in range(2))
    assert (first.status, again.status) == ("accepted", "duplicate")
    with pytest.raises(Refused, match="said so already"):
        says(world, sold, "same", read=CHIP)
    says(world, sold, "another")
    assert [one.answer for one in arrivals_of(sold)] == ["same", "another"]
    assert told(world.odile.pk) == ["another", "same"]


def test_the_same_snake_with_another_number_is_refused_plainly(world: World, sold: Sale) -> None:
    with pytest.raises(Refused, match=f"You read {OTHER}; the record says {CHIP}") as error:
        says(world, sold, "same", read=OTHER)
    assert refused(error) == "out_of_range"
    assert not arrivals_of(sold)
    assert told(world.odile.pk) == []


def test_a_number_put_on_record_since_does_not_tell_which_snake_was_sold(
    world: World, animal: Animal, sold: Sale
) -> None:
    """A seller who sends another snake can write its number into the record."""
    give(world, animal, OTHER)
    says(world, sold, "same", read=OTHER)
    assert last(sold).fits == "later"
    says(world, sold, "same", read=CHIP)
    assert last(sold).fits == "same"
    with pytest.raises(Refused, match="Its buyer relies on this code"):
        give(world, animal, CHIP, "identifier_withdrawn")


def test_without_a_number_on_record_one_that_is_read_proves_nothing(world: World) -> None:
    sale = world.sold(world.verified("R2"))
    says(world, sale, "same", read=OTHER)
    assert (last(sale).fits, last(sale).in_words.endswith("and none is on record")) == (None, True)


def test_a_seller_who_records_no_handover_keeps_nobody_from_saying_it(
    world: World, sold: Sale
) -> None:
    for step in ("handed_over", "sale_closed"):
        says(world, sold, "another" if step == "handed_over" else "cannot_tell")
        world.say(world.odile, step, sold.pk)
    says(world, sold, "same")


def test_before_the_payment_and_after_the_return_there_is_nothing_to_say(
    world: World, animal: Animal
) -> None:
    sale = world.draft(animal)
    offer = world.offer(sale)
    with pytest.raises(Refused, match="does not follow a sale that is offered"):
        says(world, sale, "another")
    world.confirm(sale, str(offer.id), offer.position or 0)
    world.say(world.odile, "payment_recorded", sale.pk)
    world.say(world.odile, "handed_over", sale.pk)
    world.back(sale, animal)
    with pytest.raises(Refused, match="was returned"):
        says(world, sale, "another")


def test_a_link_in_wrong_hands_writes_few_letters(world: World, sold: Sale) -> None:
    for n in range(MOST_A_DAY):
        says(world, sold, "another" if n % 2 else "same")
    with pytest.raises(Refused, match="several times today"):
        says(world, sold, "another")
    world.pass_time(days=2)
    says(world, sold, "another")


def test_only_its_buyer_says_it_with_an_account_or_without(
    world: World, animal: Animal, sold: Sale
) -> None:
    theirs = world.sold(world.verified("R3"), email=world.stan.email)
    stan = Actor(keeper=world.stan.pk)
    for actor in (Actor(keeper=world.odile.pk), stan, world.buyer(theirs)):
        with pytest.raises(Refused, match="nothing here for you"):
            accept_one(item(world, sold, "same"), actor, world.now)
    accept_one(item(world, theirs, "same"), stan, world.now)


def test_what_was_compared_must_have_been_there(world: World, animal: Animal) -> None:
    """Nobody proves what they sent by a picture taken for it."""
    photo = pictured(world, animal)
    sale = world.sold(animal)
    for wrong in (pictured(world, animal), str(new_id())):
        with pytest.raises(Refused, match="No such photo"):
            says(world, sale, "same", photo=wrong)
    says(world, sale, "same", photo=photo)
    assert last(sale).in_words.endswith("they compared a photo")
    body = {"animal": str(new_id()), "answer": "same"}
    with pytest.raises(Refused, match="no animal of this sale"):
        accept_one(world.item("arrival_compared", sale.pk, body), world.buyer(sale), world.now)
    with pytest.raises(Refused, match="no country or manufacturer"):
        says(world, sale, "same", read="000098100000001")

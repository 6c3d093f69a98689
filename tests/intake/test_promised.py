"""What a buyer confirmed or paid for goes to nobody else, and nobody waits for ever."""

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_custody import let_in, move, shelf
from tests.intake.test_race import in_thread
from tests.intake.test_sales import refused
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal, Collection
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.intake.statements import lapse_offers
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of
from scalewitness.sales.services import draft_sale

FIRST, SECOND = "bela@buyers.example", "next@buyers.example"


@pytest.mark.django_db
@pytest.mark.parametrize("until", ["confirmed", "paid"])
def test_what_a_buyer_waits_for_is_moved_nowhere_and_they_hear_of_each_attempt(
    world: World, until: str
) -> None:
    animal, sale = world.verified("P1"), None
    sale = waiting_for(world, animal, until)
    own, friends = shelf(world, world.odile), shelf(world, world.stan)
    let_in(world, world.stan, friends, world.odile)
    moves = ((own, "moved"), (own, "moved"), (friends, "given"), (friends, "loaned"))
    for to, why in moves:
        with pytest.raises(Refused, match="A buyer has") as error:
            move(world, world.odile, animal, to, why)
        assert refused(error) == "not_now"
    assert not Entry.objects.filter(kind="custody_changed").exists()
    letters = Letter.objects.filter(kind="sold_elsewhere")
    assert [one.to for one in letters] == [FIRST], "once a day"
    assert {one.context["paid"] for one in letters} == {until == "paid"}
    assert progress_of(sale).state == until


@pytest.mark.django_db
def test_what_was_offered_first_and_confirmed_is_offered_to_nobody_else(world: World) -> None:
    """From a room it was moved to while nobody had confirmed yet."""
    animal, other = world.verified("P2"), shelf(world, world.odile)
    first = world.draft(animal)
    offer = world.offer(first)
    move(world, world.odile, animal, other, "moved")
    second = draft_from(world, other, animal)
    with pytest.raises(Refused, match="not with its seller any more"):
        world.confirm(first, str(offer.id), Entry.objects.count() - 1)
    made = world.offer(second)
    world.confirm(second, str(made.id), Entry.objects.count() - 1)
    with pytest.raises(Refused, match="so it can go to nobody else"):
        move(world, world.odile, animal, world.collection, "moved")
    world.pass_time(days=1, hours=1)
    third = draft_from(world, other, animal, "third@buyers.example")
    with pytest.raises(Refused, match="A buyer has confirmed"):
        world.offer(third)
    assert told(second) == {"move", "offer"}
    assert not told(first)


@pytest.mark.django_db
@pytest.mark.parametrize("same", ["address", "account"])
def test_a_second_offer_to_the_very_buyer_tells_them_of_nobody_else(
    world: World, same: str
) -> None:
    """A seller who drafts anew by mistake; each draft makes a buyer of its own."""
    animal, account = world.verified("P2"), same == "account"
    first, again = (world.stan.email,) * 2 if account else (FIRST, FIRST.upper())
    sale, second = world.draft(animal, email=first), world.draft(animal, email=again)
    if account:
        second.buyer.email = "stan.elsewhere@buyers.example"
        second.buyer.save()
    offer = world.offer(sale)
    world.confirm(sale, str(offer.id), Entry.objects.count() - 1)
    with pytest.raises(Refused, match="This buyer has confirmed the offer of this animal already"):
        world.offer(second)
    assert not Letter.objects.filter(kind="sold_elsewhere").exists()


@pytest.mark.django_db
def test_what_was_handed_over_is_sold_again_from_no_other_room(world: World) -> None:
    """The seller may keep the record of it in another room; that makes it theirs no more."""
    animal, other = world.verified("P3"), shelf(world, world.odile)
    friends = shelf(world, world.stan)
    let_in(world, world.stan, friends, world.odile)
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    move(world, world.odile, animal, other, "moved")
    with pytest.raises(Refused, match="A buyer has been given"):
        world.offer(draft_from(world, other, animal))
    world.pass_time(days=1, hours=1)
    with pytest.raises(Refused, match="A buyer has been given"):
        move(world, world.odile, animal, friends, "given")
    assert told(sale) == {"offer", "move"}


@pytest.mark.django_db
def test_a_buyer_who_has_it_sells_it_on(world: World) -> None:
    """And then it is promised to whoever buys it from them."""
    animal, theirs = world.verified("P4"), shelf(world, world.stan)
    first = world.sold(animal, email=world.stan.email)
    move(world, world.odile, animal, theirs, "sold", sale=str(first.pk))
    second = draft_from(world, theirs, animal)
    made = world.offer(second)
    world.confirm(second, str(made.id), Entry.objects.count() - 1)
    with pytest.raises(Refused, match="A buyer has confirmed"):
        world.say(
            world.stan,
            "custody_changed",
            animal.pk,
            {"to": str(shelf(world, world.stan).pk), "why": "moved"},
        )
    assert not told(first)


@pytest.mark.django_db
def test_a_sale_that_is_confirmed_and_not_paid_lapses_and_both_are_told(world: World) -> None:
    animal = world.verified("P5")
    sale = waiting_for(world, animal, "confirmed")
    world.pass_time(days=13, hours=23)
    assert lapse_offers(world.now) == 0
    world.pass_time(hours=1)
    assert lapse_offers(world.now) == 1
    assert lapse_offers(world.now) == 0
    assert progress_of(sale).state == "lapsed"
    assert Entry.objects.get(kind="offer_lapsed").by is None
    told = Letter.objects.filter(kind__startswith="sale_lapsed").values_list("kind", "to")
    assert set(told) == {("sale_lapsed", FIRST), ("sale_lapsed_seller", world.odile.email)}
    with pytest.raises(Refused) as error:
        world.say(world.odile, "payment_recorded", sale.pk)
    assert refused(error) == "not_now"
    assert world.offer(world.draft(animal, email=SECOND)).status == "accepted"


@pytest.mark.django_db
def test_an_offer_states_the_days_to_pay(world: World) -> None:
    sale = world.draft(world.verified("P6"))
    offer = world.offer(sale, days_to_pay=3)
    world.confirm(sale, str(offer.id), Entry.objects.count() - 1)
    world.pass_time(days=3)
    assert lapse_offers(world.now) == 1


def test_of_two_that_confirm_at_once_one_gets_the_animal(lasting_world: World) -> None:
    """And of a confirmation and a move at once, one is refused."""
    world = lasting_world
    animal, other = world.verified("P7"), shelf(world, world.odile)
    for _ in range(6):
        sale = world.draft(animal)
        offer, seen = world.offer(sale), Entry.objects.count() - 1
        together = Barrier(2)

        def confirm(_: int, sale: Sale = sale, id: str = str(offer.id), seen: int = seen) -> bool:
            together.wait()  # noqa: B023
            return accepted(lambda: world.confirm(sale, id, seen))

        def away(_: int) -> bool:
            together.wait()  # noqa: B023
            return accepted(lambda: move(world, world.odile, animal, other, "moved"))

        with ThreadPoolExecutor(2) as pool:
            both = [pool.submit(in_thread, work, 0) for work in (confirm, away)]
            confirmed, moved = (one.result() for one in both)
        assert confirmed != moved, "one of the two, and only one"
        animal.refresh_from_db()
        assert (animal.collection_id == other.pk) == moved
        assert (told(sale) == {"move"}) == confirmed
        if moved:
            move(world, world.odile, animal, world.collection, "moved")
        world.say(world.odile, "offer_withdrawn", sale.pk)


@pytest.mark.parametrize("what", ["a contrary call", "another code"])
def test_nobody_confirms_at_once_with_a_change_what_they_were_not_shown(
    lasting_world: World, what: str
) -> None:
    """Whichever comes first: a confirmation behind the change is refused."""
    world = lasting_world
    animal = world.verified("P8")
    sale = world.draft(animal)
    for number in range(RACES):
        world.offer(sale)
        seen, together = world.look(sale), Barrier(2)
        by, kind, body = change_by(world, animal, what, number)
        change = world.item(kind, animal.pk, body)
        item = world.item("sale_confirmed", sale.pk, seen)

        def confirm(_: int, item: dict[str, Any] = item) -> bool:
            together.wait()  # noqa: B023
            return accepted(lambda: accept_one(item, world.buyer(sale), world.now))

        def alter(_: int, item: dict[str, Any] = change, by: Keeper = by) -> int:
            together.wait()  # noqa: B023
            return accept_one(item, Actor(keeper=by.pk), world.now).position or 0

        with ThreadPoolExecutor(2) as pool:
            both = [pool.submit(in_thread, work, 0) for work in (confirm, alter)]
            confirmed, altered_at = (one.result() for one in both)
        step = sale.steps.filter(kind="sale_confirmed", pk=item["id"]).first()
        assert (step is not None) == confirmed
        assert step is None or step.position < int(str(altered_at)), "behind a change"
        if what == "a contrary call":
            assert progress_of(Sale.objects.get(pk=sale.pk)).held, "it holds either way"
            world.say(by, "call_withdrawn", animal.pk, {"call": change["id"]})


RACES = 6


def change_by(
    world: World, animal: Animal, what: str, number: int
) -> tuple[Keeper, str, dict[str, Any]]:
    """By whom, and what: a guest who has not checked it before, or its keeper."""
    if what == "another code":
        return world.odile, "identifier_assigned", {"scheme": "tag", "code": f"N{number}"}
    guest = keeper(f"Late {number}")
    visit = world.visit(guest, animal)
    return guest, "call_made", probing("female", tag_of(animal)) | {"visit": str(visit)}


def accepted(say: object) -> bool:
    try:
        say()  # type: ignore[operator]
    except Refused:
        return False
    return True


def waiting_for(world: World, animal: Animal, until: str) -> Sale:
    sale = world.draft(animal)
    offer = world.offer(sale)
    world.confirm(sale, str(offer.id), Entry.objects.count() - 1)
    if until == "paid":
        world.say(world.odile, "payment_recorded", sale.pk)
    return sale


def draft_from(world: World, room: Collection, animal: Animal, email: str = SECOND) -> Sale:
    return draft_sale(
        sale=new_id(world.now),
        collection=room,
        animals=[animal],
        buyer_id=new_id(world.now),
        buyer_name="Bela Novak",
        buyer_email=email,
        by=room.keeper,
        now=world.now,
    )


def told(sale: Sale) -> set[str]:
    """How its buyer heard that the animal was nearly let go."""
    letters = Letter.objects.filter(kind="sold_elsewhere", recipient=UUID(str(sale.buyer_id)))
    return {one.context["how"] for one in letters}

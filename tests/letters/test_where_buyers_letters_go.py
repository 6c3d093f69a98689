"""Where a buyer's letters go, and the code that only the right address gets."""

from dataclasses import replace
from typing import Any

import pytest
from tests.intake.test_letters_owed import Scene, answer, say
from tests.world import World

from scalewitness.domain.errors import NotFound, NotNow
from scalewitness.intake.services import accept_one
from scalewitness.letters.addresses import send_elsewhere
from scalewitness.letters.codes import send_code
from scalewitness.mail.models import Letter
from scalewitness.sales.models import AddressChange, Sale

pytestmark = pytest.mark.django_db


def test_what_the_letter_with_a_code_holds(world: World) -> None:
    sale = world.draft(world.animal("A1"), by_code=True)
    world.offer(sale)
    send_code(sale, world.now)
    letter = Letter.objects.get(kind="confirmation_code")
    assert (letter.to, letter.recipient, letter.cause) == (
        "bela@buyers.example", sale.buyer_id, letter.pk,
    )  # fmt: skip
    assert letter.context["code_id"] == str(letter.pk)
    assert letter.context["sale"] == str(sale.pk)
    for _ in range(9):
        try:
            send_code(sale, world.now)
        except NotNow:
            break
    else:
        pytest.fail("there is no end of codes")
    with pytest.raises(NotFound):
        send_code(world.draft(world.animal("A2")), world.now)


def taken_to(world: World, state: str, *, by_code: bool) -> Sale:
    animal = world.animal("A1")
    sale = world.draft(animal, by_code=by_code)
    if state == "draft":
        return sale
    world.offer(sale)
    scene = Scene(world, animal, sale)
    if state in {"declined", "withdrawn"}:
        (answer("offer_declined") if state == "declined" else say("offer_withdrawn"))(scene)
    if state in {"confirmed", "paid"}:
        item = world.item("sale_confirmed", sale.pk, world.look(sale))
        actor = world.buyer(sale)
        accept_by_code(item, actor, world)
    if state == "paid":
        scene.seller("payment_recorded")
    return Sale.objects.get(pk=sale.pk)


def accept_by_code(item: dict[str, Any], actor: Any, world: World) -> None:
    accept_one(item, replace(actor, by_code=True), world.now)


@pytest.mark.parametrize(
    ("state", "buyer_may", "seller_may"),
    [
        # of a sale with a code to confirm
        ("draft", True, True),
        ("offered", False, False),
        ("confirmed", True, False),
        ("paid", True, False),
        ("declined", True, False),
        ("withdrawn", True, False),
    ],
)
@pytest.mark.parametrize("by_code", [True, False])
def test_who_may_send_a_buyers_letters_elsewhere(
    world: World, state: str, buyer_may: bool, seller_may: bool, by_code: bool
) -> None:
    sale = taken_to(world, state, by_code=by_code)
    for who, may in ((world.odile.pk, seller_may), (None, buyer_may or not by_code)):
        email = "seller@new.example" if who else "buyer@new.example"
        if may:
            before = list(AddressChange.objects.values_list("pk", flat=True))
            send_elsewhere(sale, email, world.now, seller=who)
            (changed,) = AddressChange.objects.exclude(pk__in=before)
            assert changed.by == who
            letter = Letter.objects.get(kind="address_changed", cause=changed.pk)
            assert letter.recipient == sale.buyer_id
            assert letter.context == {
                "to_name": "Bela Novak", "seller_name": "Odile Marten", "by_seller": bool(who),
                "at": world.now.isoformat(), "sale": str(sale.pk),
            }  # fmt: skip
            assert Sale.objects.get(pk=sale.pk).buyer.email == email
        else:
            with pytest.raises(NotNow):
                send_elsewhere(sale, email, world.now, seller=who)
            assert Sale.objects.get(pk=sale.pk).buyer.email != email
    count = Letter.objects.filter(kind="address_changed").count()
    same = Sale.objects.get(pk=sale.pk)
    if buyer_may:
        assert send_elsewhere(same, same.buyer.email, world.now, seller=None) == 0
    assert Letter.objects.filter(kind="address_changed").count() == count


@pytest.mark.parametrize("new", ["aaa@buyers.example", "zzz@buyers.example"])
def test_the_old_address_is_told_whatever_the_new_one_is(world: World, new: str) -> None:
    sale = world.draft(world.animal("A1"))
    world.offer(sale)
    assert send_elsewhere(sale, new, world.now, seller=None) == 1, "the offer had not left"
    assert Letter.objects.get(kind="address_changed").to == "bela@buyers.example"
    assert Letter.objects.get(kind="offer").to == new

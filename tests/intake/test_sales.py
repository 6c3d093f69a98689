"""Sales, disclosures and disputes: what follows in the same transaction."""

from datetime import timedelta
from uuid import UUID

import pytest
from django.db import connection
from tests.plugins.told_once import told_once
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.sales.models import OfferLink, Sale
from scalewitness.sales.queries import progress_of

pytestmark = pytest.mark.django_db


@told_once
def animal(world: World) -> Animal:
    """A verified male."""
    return world.verified("V1")


def refused(error: pytest.ExceptionInfo[Refused]) -> str:
    return str(error.value.as_problem()["code"])


def contrary(world: World, animal: object) -> int:
    """A blind guest finds the opposite; the call's position."""
    visit = world.visit(world.greta, animal)  # type: ignore[arg-type]
    outcome = world.call(world.greta, animal, "female", visit=visit)  # type: ignore[arg-type]
    assert outcome.position is not None
    return outcome.position


def kinds_after(position: int) -> list[str]:
    rows = Entry.objects.filter(position__gt=position).order_by("position")
    return list(rows.values_list("kind", flat=True))


def test_an_offer_must_say_what_the_record_says(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    claim = {
        "represents": [
            {
                "animal": str(animal.pk),
                "label": "verified female",
                "p_male": "0.000100",
                "p_male_pessimistic": "0.000100",
                "position": 3,
            }
        ]
    }
    with pytest.raises(Refused) as error:
        world.offer(sale, **claim)
    problem = error.value.as_problem()
    assert problem["code"] == "standing_moved"
    standing = animal.standings.latest("position")
    assert problem["now"] == [
        {
            "animal": str(animal.pk),
            "label": "verified male",
            "p_male": standing.p_male,
            "p_male_pessimistic": standing.p_male_pessimistic,
            "position": standing.position,
        }
    ]


def test_payment_is_refused_before_confirmation(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    world.offer(sale)
    with pytest.raises(Refused) as error:
        world.say(world.odile, "payment_recorded", sale.pk)
    assert refused(error) == "not_now"


def test_the_seller_cannot_confirm_for_the_buyer(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    world.offer(sale)
    item = world.item("sale_confirmed", sale.pk, world.look(sale))
    for actor in (Actor(keeper=world.odile.pk), Actor(buyer=world.odile.pk, sale=sale.pk)):
        with pytest.raises(Refused) as error:
            accept_one(item, actor, world.now)
        assert refused(error) == "not_found"


def test_confirming_after_the_standing_moved_is_refused_with_what_changed(
    world: World, animal: Animal
) -> None:
    sale = world.draft(animal)
    offer = world.offer(sale)
    position = contrary(world, animal)
    assert progress_of(sale).held == ("standing_fell",)
    assert offer.id is not None
    renewed = world.offer(sale)
    assert renewed.id is not None
    assert renewed.position is not None
    world.pass_time(days=1)
    world.call(world.odile, animal, "male")
    with pytest.raises(Refused) as error:
        world.confirm(sale, renewed.id, renewed.position)
    problem = error.value.as_problem()
    assert problem["code"] == "standing_moved"
    with pytest.raises(Refused):
        world.confirm(sale, offer.id, position)


def test_an_agreeing_call_that_moves_little_stands_in_nobodys_way(
    world: World, animal: Animal
) -> None:
    """Promise 5: the confirmation names what was seen, and that is what it still is."""
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    world.pass_time(days=1)
    world.call(world.odile, animal, "male")
    assert progress_of(sale).held == ()
    world.confirm(sale, offer.id, offer.position)
    assert progress_of(sale).state == "confirmed"


def test_an_unpaid_sale_is_held_and_both_sides_are_told(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    world.offer(sale)
    position = contrary(world, animal)
    assert world.label(animal) == "contested"
    assert kinds_after(position) == ["standing_changed", "sale_held", "dispute_opened"]
    assert progress_of(sale).held == ("standing_fell",)
    kinds = set(Letter.objects.values_list("kind", flat=True))
    assert {"sale_held", "sale_held_seller", "standing_notice", "dispute_opened"} <= kinds
    assert not Disclosure.objects.exists()


def test_a_paid_sale_owes_a_disclosure_in_the_same_transaction(
    world: World, animal: Animal
) -> None:
    sale = world.sold(animal)
    position = contrary(world, animal)
    assert kinds_after(position) == ["standing_changed", "disclosure_owed", "dispute_opened"]
    owed = Disclosure.objects.get()
    assert (owed.was["label"], owed.now["label"]) == ("verified male", "contested")
    assert (owed.to_id, owed.change) == (sale.buyer_id, "fell")
    letter = Letter.objects.get(kind="disclosure")
    assert (letter.to, letter.cause) == ("bela@buyers.example", owed.pk)
    assert Dispute.objects.get().sale == sale
    assert OfferLink.objects.filter(purpose="disclosure").count() == 2, "that of the payment too"


def test_the_same_fall_is_disclosed_once_however_many_calls_follow(
    world: World, animal: Animal
) -> None:
    world.sold(animal)
    contrary(world, animal)
    world.pass_time(days=1)
    world.call(world.odile, animal, "female")
    assert Disclosure.objects.count() == 1
    assert Dispute.objects.count() == 1


def test_withdrawing_the_contrary_call_restores_and_tells(world: World, animal: Animal) -> None:
    world.sold(animal)
    contrary(world, animal)
    call = animal.calls.get(by=world.greta.pk)
    world.say(world.greta, "call_withdrawn", animal.pk, {"call": str(call.pk)})
    assert world.label(animal) == "verified male"
    changes = list(Disclosure.objects.order_by("position").values_list("change", flat=True))
    assert changes == ["fell", "restored"]
    assert Letter.objects.filter(kind="disclosure").count() == 2


def test_a_sale_on_a_probable_animal_owes_no_disclosure(world: World) -> None:
    """Only a verified sex that was relied on is disclosed (design, section 8)."""
    animal = world.animal("P1")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    assert world.label(animal) == "probable male"
    world.sold(animal)
    world.pass_time(days=1)
    world.call(world.odile, animal, "female")
    assert not Disclosure.objects.exists()


def test_nothing_of_a_fall_is_kept_when_its_transaction_fails(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Promise 4 the other way round: no disclosure without its cause, no cause without it."""
    from scalewitness.intake import disclosing

    animal = world.verified("V1")
    world.sold(animal)
    visit = world.visit(world.greta, animal)
    before = (Entry.objects.count(), animal.calls.count())

    def fail(*args: object, **more: object) -> None:
        raise RuntimeError("the machine stops here")

    monkeypatch.setattr(disclosing, "new_lasting_link", fail)
    with pytest.raises(RuntimeError):
        world.call(world.greta, animal, "female", visit=visit)
    assert (Entry.objects.count(), animal.calls.count()) == before
    assert not Disclosure.objects.exists()
    assert connection.in_atomic_block


def test_a_finding_sets_a_call_aside_only_on_later_blind_evidence(
    world: World, animal: Animal
) -> None:
    world.sold(animal)
    contrary(world, animal)
    dispute = Dispute.objects.get()
    call = animal.calls.get(by=world.greta.pk)
    with pytest.raises(Refused) as error:
        world.find(dispute, call)
    assert refused(error) == "not_allowed"
    world.pass_time(days=1)
    world.call(world.stan, animal, "male", visit=world.visit(world.stan, animal))
    world.find(dispute, call)
    assert world.label(animal) == "verified male"
    assert animal.calls.filter(pk=call.pk).exists()
    with pytest.raises(Refused) as error:
        world.find(dispute, call)
    assert refused(error) == "not_now"


def test_only_the_buyer_acknowledges(world: World, animal: Animal) -> None:
    sale = world.sold(animal)
    contrary(world, animal)
    owed = Disclosure.objects.get()
    item = world.item("disclosure_acknowledged", owed.pk, {})
    with pytest.raises(Refused) as error:
        accept_one(item, Actor(keeper=world.odile.pk), world.now)
    assert refused(error) == "not_found"
    accept_one(item, world.buyer(sale), world.now)
    assert Disclosure.objects.get().acknowledgement is not None


def test_a_fall_between_view_and_confirmation_says_what_changed(
    world: World, animal: Animal
) -> None:
    """The fall also holds the sale; the buyer is told what moved, not only that it waits."""
    sale = world.draft(animal)
    offer = world.offer(sale)
    item = world.item("sale_confirmed", sale.pk, world.look(sale))
    contrary(world, animal)
    with pytest.raises(Refused) as error:
        accept_one(item, world.buyer(sale), world.now)
    problem = error.value.as_problem()
    assert problem["code"] == "standing_moved"
    label, probability = problem["changed"]
    assert label == {
        "animal": str(animal.pk),
        "what": "label",
        "was": "verified male",
        "now": "contested",
    }
    assert probability["what"] == "probability"
    assert "looked: it was “verified male” and is now “contested”; its pro" in problem["detail"]
    with pytest.raises(Refused):
        world.confirm(sale, str(offer.id), kinds_position())


def test_a_label_that_moved_since_the_offer_is_said_also_to_who_saw_it(world: World) -> None:
    """For the better, and for the worse, which holds the sale as well."""
    animal = world.animal("V1")
    world.call(world.greta, animal, "male", visit=world.visit(world.greta, animal))
    assert world.label(animal) == "probable male"
    sale = world.draft(animal)
    offers = [world.offer(sale)]
    world.pass_time(days=1)
    world.call(world.odile, animal, "male")
    world.call(world.pim, animal, "male", visit=world.visit(world.pim, animal))
    assert world.label(animal) == "verified male"
    assert (
        confirming(world, sale, offers[-1]) == "it was “probable male” and is now “verified male”"
    )
    offers.append(world.offer(sale))
    world.pass_time(days=1)
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    worse = world.label(animal)
    assert worse < "verified male"
    assert confirming(world, sale, offers[-1]) == f"it was “verified male” and is now “{worse}”"


def confirming(world: World, sale: Sale, offer: Outcome) -> str:
    """What a buyer who saw all there is reads of what moved."""
    assert offer.id is not None
    with pytest.raises(Refused) as error:
        world.confirm(sale, offer.id, kinds_position())
    assert refused(error) == "standing_moved"
    detail = str(error.value.as_problem()["detail"])
    return detail.partition("looked: ")[2].partition(". Read")[0]


def kinds_position() -> int:
    """The end of the log."""
    return Entry.objects.count() - 1


def test_a_lapsed_offer_cannot_be_confirmed(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    world.pass_time(days=8)
    with pytest.raises(Refused) as error:
        world.confirm(sale, offer.id, offer.position)
    assert refused(error) == "not_now"


def test_an_animal_is_in_one_live_sale_at_a_time(world: World, animal: Animal) -> None:
    world.offer(world.draft(animal))
    with pytest.raises(Refused) as error:
        world.offer(world.draft(animal, email="other@buyers.example"))
    assert refused(error) == "not_now"


def test_custody_passes_to_a_buyer_who_is_a_keeper_once_paid(world: World) -> None:
    from tests.world import new_id

    from scalewitness.animals.services import create_collection

    animal = world.verified("V1")
    target = create_collection(world.stan, new_id(), "Stan's shelf", world.now)
    sale = world.draft(animal, email=world.stan.email)
    move = {"to": str(target.pk), "why": "sold", "sale": str(sale.pk)}
    with pytest.raises(Refused) as error:
        world.say(world.odile, "custody_changed", animal.pk, move)
    assert refused(error) == "not_allowed"
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    accept_one(
        world.item("sale_confirmed", sale.pk, world.look(sale)),
        Actor(keeper=world.stan.pk),
        world.now,
    )
    world.say(world.odile, "payment_recorded", sale.pk)
    world.say(world.odile, "handed_over", sale.pk)
    world.say(world.odile, "custody_changed", animal.pk, move)
    animal.refresh_from_db()
    assert animal.collection == target
    world.pass_time(days=1)
    visit_host, world.odile = world.odile, world.stan
    world.collection = target
    contrary(world, animal)
    assert Disclosure.objects.get().to_id == sale.buyer_id
    told = set(Letter.objects.filter(kind="standing_notice").values_list("to", flat=True))
    assert told == {visit_host.email}, "the buyer, who holds it, is told by the disclosure"
    assert Letter.objects.get(kind="disclosure").to == world.stan.email
    assert visit_host != world.stan
    assert UUID(str(sale.pk)) == sale.pk
    assert world.now > sale.drafted_at + timedelta(0)


def test_a_position_from_the_future_was_seen_by_nobody(world: World, animal: Animal) -> None:
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    with pytest.raises(Refused) as error:
        world.confirm(sale, offer.id, 10**9)
    assert refused(error) == "out_of_range"

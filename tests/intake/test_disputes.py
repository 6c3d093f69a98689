"""Both sides say what they have to say, until the finding; nobody else does."""

from itertools import pairwise
from uuid import UUID

import pytest
from django.test import Client
from tests.intake.test_sales import contrary, refused
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.disputes.models import Dispute, Statement
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Text
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.mail.services.links import link_token
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.services import draft_sale

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


@told_once
def dispute(world: World) -> Dispute:
    animal = world.verified("V1")
    world.sold(animal)
    world.pass_time(days=1)
    contrary(world, animal)
    return Dispute.objects.get()


def state(world: World, dispute: Dispute, actor: Actor, text: str = "So it was.") -> None:
    item = world.item("statement_made", dispute.pk, {}, texts={"statement": text})
    accept_one(item, actor, world.now)


def test_either_side_speaks_and_again(world: World, dispute: Dispute) -> None:
    assert dispute.sale is not None
    buyer, keeper = world.buyer(dispute.sale), Actor(keeper=world.odile.pk)
    for actor in (buyer, keeper, buyer):
        state(world, dispute, actor)
    by = list(Statement.objects.order_by("position").values_list("by", flat=True))
    assert by == [dispute.sale.buyer_id, world.odile.pk, dispute.sale.buyer_id]
    assert Text.objects.filter(field="statement").count() == 3


def test_nobody_else_and_no_buyer_of_something_else(world: World, dispute: Dispute) -> None:
    other = world.sold(world.verified("V2"), email="other@buyers.example")
    for actor in (Actor(keeper=world.stan.pk), Actor(keeper=world.greta.pk), world.buyer(other)):
        with pytest.raises(Refused) as error:
            state(world, dispute, actor)
        assert refused(error) == "not_found"


def test_after_the_finding_there_is_nothing_to_add(world: World, dispute: Dispute) -> None:
    finding = {"outcome": "unresolved", "remedy": "none"}
    world.say(world.odile, "finding_recorded", dispute.pk, finding)
    with pytest.raises(Refused) as error:
        state(world, dispute, Actor(keeper=world.odile.pk))
    assert refused(error) == "not_now"


def test_a_statement_needs_words(world: World, dispute: Dispute) -> None:
    with pytest.raises(Refused):
        world.say(world.odile, "statement_made", dispute.pk, {})


# --- what buyers are told -----------------------------------------------------------------


def written(letter: Letter) -> str:
    return str(compose(letter).body)


def opens(letter: Letter, client: Client) -> str:
    """What the letter's own link shows."""
    token = link_token(UUID(letter.context["link"]))
    path = f"/offers/{token}/animals/{letter.context['animal']['id']}/problem"
    assert path in written(letter)
    page = client.get(path)
    assert page.status_code == 200
    return page.content.decode()


def test_a_buyer_is_told_that_their_report_is_on_record(world: World, client: Client) -> None:
    animal = world.verified("V1")
    sale = world.sold(animal)
    opened = {"animal": str(animal.pk), "ground": "party_objects", "sale": str(sale.pk)}
    texts = {"note": "It laid eggs."}
    item = world.item("dispute_opened", new_id(world.now), opened, texts=texts)
    accept_one(item, world.buyer(sale), world.now)
    letter = Letter.objects.get(kind="dispute_opened_buyer")
    assert letter.to == "bela@buyers.example"
    assert "You wrote:\n\n  | It laid eggs.\n" in written(letter)
    assert "A dispute about" in opens(letter, client)


def test_the_buyer_reads_what_the_other_side_states(
    world: World, dispute: Dispute, client: Client
) -> None:
    assert dispute.sale is not None
    state(world, dispute, world.buyer(dispute.sale), "She laid eggs.")
    assert not Letter.objects.filter(kind="statement_made_buyer").exists(), "it is their own"
    state(world, dispute, Actor(keeper=world.odile.pk), "Three probed him.")
    letter = Letter.objects.get(kind="statement_made_buyer")
    assert compose(letter).subject.startswith("The seller answered in the dispute: ")
    assert "  | Three probed him.\n" in written(letter)
    shown = opens(letter, client)
    assert "Three probed him." in shown
    assert "She laid eggs." in shown


def sell_on(world: World, animal: Animal, by: Keeper, buyer: Keeper) -> Sale:
    """To another keeper, who keeps it on a shelf of theirs."""
    room = Animal.objects.get(pk=animal.pk).collection
    names = {"buyer_name": buyer.name, "buyer_email": buyer.email, "buyer_id": new_id(world.now)}
    sale = draft_sale(
        sale=new_id(world.now), collection=room, animals=[animal], by=by, now=world.now, **names
    )
    world.pay(sale)
    world.say(by, "handed_over", sale.pk)
    shelf = create_collection(buyer, new_id(world.now), f"{buyer.name}'s shelf", world.now)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(by, "custody_changed", animal.pk, moved)
    world.pass_time(days=1)
    return sale


@told_once
def chain(world: World) -> tuple[Sale, Dispute]:
    """Odile sold it to Stan, Stan to Pim, and Pim, who objects now, to Greta."""
    animal = world.verified("V1")
    people = (world.odile, world.stan, world.pim, world.greta)
    sales = [sell_on(world, animal, by, buyer) for by, buyer in pairwise(people)]
    opened = {"animal": str(animal.pk), "ground": "party_objects", "sale": str(sales[2].pk)}
    texts = {"note": "Between Greta and me."}
    world.say(world.pim, "dispute_opened", new_id(world.now), opened, texts=texts)
    return sales[0], Dispute.objects.get()


def test_an_earlier_buyer_has_a_seat_and_hears_of_no_other_deal(
    world: World, chain: tuple[Sale, Dispute], client: Client
) -> None:
    first, dispute = chain
    told = Letter.objects.get(kind="dispute_opened_buyer", recipient=first.buyer_id)
    state(world, dispute, world.buyer(first), "I bought him as a male.")
    state(world, dispute, Actor(keeper=world.pim.pk), "Greta never paid in time.")
    state(world, dispute, Actor(keeper=world.greta.pk), "She laid eggs with me.")
    (letter,) = Letter.objects.filter(kind="statement_made_buyer", recipient=first.buyer_id)
    assert compose(letter).subject.startswith("The keeper answered in the dispute: ")
    assert "She laid eggs with me." in written(letter)
    seen = opens(told, client)
    for said in ("I bought him as a male.", "She laid eggs with me."):
        assert said in seen
    finding = {"outcome": "unresolved", "basis": "agreement"}
    reasons = {"reasons": "Nobody knows."}
    world.say(world.greta, "finding_recorded", dispute.pk, finding, texts=reasons)
    found = Letter.objects.get(kind="finding", recipient=first.buyer_id)
    assert not found.context["asked"]
    claim = "The keeper says that both sides agree; the other seller has not confirmed it."
    assert claim in written(found)
    theirs = [*Letter.objects.filter(recipient=first.buyer_id, created_at__gte=dispute.opened_at)]
    read = [*map(written, theirs), seen, opens(found, client)]
    for one in read:
        for secret in ("never paid", "Between Greta", "Pim Alder", "Greta Lund", "greta.lund"):
            assert secret not in one


def test_whoever_has_no_deal_that_hangs_on_it_has_no_seat(world: World, dispute: Dispute) -> None:
    animal = dispute.animal
    stranger = world.draft(animal, email="other@buyers.example")
    with pytest.raises(Refused) as error:
        state(world, dispute, world.buyer(stranger))
    assert refused(error) == "not_found"

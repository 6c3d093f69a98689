"""Both sides say what they have to say, until the finding; nobody else does."""

import pytest
from tests.intake.test_sales import contrary, refused
from tests.world import World

from scalewitness.disputes.models import Dispute, Statement
from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.ledger.models import Text

pytestmark = pytest.mark.django_db


@pytest.fixture
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

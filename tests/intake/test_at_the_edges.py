"""Where a rule begins and ends: to the millisecond, at the last call that still counts."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.intake.test_sales import contrary, refused
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.mail.models import Letter
from scalewitness.people.models import Grant, Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of

pytestmark = pytest.mark.django_db
MOMENT = timedelta(milliseconds=1)


@pytest.mark.parametrize(
    ("late_by", "status"),
    [
        (timedelta(days=14) - MOMENT, "accepted"),
        (timedelta(days=14), "accepted"),
        (timedelta(days=14) + MOMENT, "held"),
    ],
)
def test_a_call_may_be_fourteen_days_late_and_no_more(
    world: World, late_by: timedelta, status: str
) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined, closes = world.now + timedelta(hours=2), Grant.objects.get(pk=visit).closes
    assert closes is not None
    world.now = closes + late_by
    assert world.call(world.greta, animal, "male", visit=visit, at=examined).status == status


@pytest.mark.parametrize("at", ["opens", "closes"])
def test_a_visit_covers_its_first_and_its_last_moment(world: World, at: str) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = getattr(Grant.objects.get(pk=visit), at)
    world.pass_time(days=2)
    assert world.call(world.greta, animal, "male", visit=visit, at=examined).status == "accepted"


@pytest.mark.parametrize(("at", "off"), [("opens", -MOMENT), ("closes", MOMENT)])
def test_a_visit_covers_nothing_beside_it(world: World, at: str, off: timedelta) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = getattr(Grant.objects.get(pk=visit), at) + off
    world.pass_time(days=2)
    with pytest.raises(Refused) as error:
        world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert refused(error) == "not_found"


@pytest.mark.parametrize(("before", "state"), [(MOMENT, "confirmed"), (timedelta(0), "offered")])
def test_an_offer_is_confirmed_before_it_expires_and_not_when_it_does(
    world: World, before: timedelta, state: str
) -> None:
    sale = world.draft(world.verified("V1"))
    expires = world.now + timedelta(days=7)
    offer = world.offer(sale, expires=rfc3339(expires))
    assert offer.id is not None
    assert offer.position is not None
    world.now = expires - before
    if state == "confirmed":
        world.confirm(sale, offer.id, offer.position)
    else:
        with pytest.raises(Refused, match="lapsed"):
            world.confirm(sale, offer.id, offer.position)
    assert progress_of(Sale.objects.get(pk=sale.pk)).state == state


# --- on what a call is set aside ---------------------------------------------------------


@pytest.fixture
def disputed(world: World) -> Dispute:
    """A verified male was sold; then Greta found a female, blind."""
    animal = world.verified("V1")
    world.sold(animal)
    contrary(world, animal)
    return Dispute.objects.get()


def set_aside(world: World, dispute: Dispute, *calls: Call) -> None:
    finding = {
        "outcome": "call_set_aside",
        "set_aside": [str(call.pk) for call in calls],
        "remedy": "none",
    }
    world.say(world.odile, "finding_recorded", dispute.pk, finding)


def of(who: Keeper, animal: Animal) -> Call:
    return Call.objects.filter(by=who.pk, animal=animal).order_by("-position")[0]


def later(world: World, animal: Animal, who: str, sex: str) -> Call:
    world.pass_time(days=1)
    by: Keeper = getattr(world, who)
    more = {} if who == "odile" else {"visit": world.visit(by, animal, blind=who != "pim")}
    world.call(by, animal, sex, **more)
    return of(by, animal)


@pytest.mark.parametrize(
    ("who", "sex"),
    [
        ("odile", "male"),  # with an interest
        ("pim", "male"),  # not blind
        ("greta", "male"),  # who called it herself
        ("stan", "female"),  # who agrees with her
        ("stan", "undetermined"),
    ],
)
def test_what_is_no_ground_to_set_a_call_aside(
    world: World, disputed: Dispute, who: str, sex: str
) -> None:
    call = of(world.greta, disputed.animal)
    later(world, disputed.animal, who, sex)
    with pytest.raises(Refused) as error:
        set_aside(world, disputed, call)
    assert refused(error) == "not_allowed"


def test_a_call_taken_back_is_no_ground(world: World, disputed: Dispute) -> None:
    call = of(world.greta, disputed.animal)
    ground = later(world, disputed.animal, "stan", "male")
    world.say(world.stan, "call_withdrawn", disputed.animal.pk, {"call": str(ground.pk)})
    with pytest.raises(Refused) as error:
        set_aside(world, disputed, call)
    assert refused(error) == "not_allowed"


def test_a_call_taken_back_is_not_set_aside_as_well(world: World, disputed: Dispute) -> None:
    call = of(world.greta, disputed.animal)
    later(world, disputed.animal, "stan", "male")
    world.say(world.greta, "call_withdrawn", disputed.animal.pk, {"call": str(call.pk)})
    with pytest.raises(Refused) as error:
        set_aside(world, disputed, call)
    assert refused(error) == "not_now"


def test_a_call_set_aside_is_no_ground_for_another(world: World, disputed: Dispute) -> None:
    animal = disputed.animal
    one = of(world.greta, animal)
    other = later(world, animal, "stan", "male")
    set_aside(world, disputed, one)
    opened = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.odile, "dispute_opened", new_id(world.now), opened)
    again = Dispute.objects.exclude(pk=disputed.pk).get()
    with pytest.raises(Refused) as error:
        set_aside(world, again, other)
    assert refused(error) == "not_allowed"
    with pytest.raises(Refused) as error:
        set_aside(world, again, one)
    assert refused(error) == "not_now"


def test_only_calls_on_this_animal_are_set_aside(world: World, disputed: Dispute) -> None:
    other = world.animal("O1")
    world.call(world.odile, other, "male")
    with pytest.raises(Refused) as error:
        set_aside(world, disputed, of(world.odile, other))
    assert refused(error) == "out_of_range"


# --- which sale, and who hears ------------------------------------------------------------


def test_a_dispute_hangs_on_the_latest_sale(world: World) -> None:
    animal = world.verified("V1")
    first = world.sold(animal)
    world.say(world.odile, "handed_over", first.pk)
    world.pass_time(days=1)
    back = {"to": str(world.collection.pk), "why": "returned", "sale": str(first.pk)}
    world.say(world.odile, "custody_changed", animal.pk, back)
    world.pass_time(days=1)
    second = world.sold(animal, email="other@buyers.example")
    contrary(world, animal)
    assert Dispute.objects.get().sale == second


def test_partners_hear_of_a_fall_and_former_partners_do_not(world: World) -> None:
    animal = world.verified("V1")
    world.make_partner(world.pim)
    former = world.make_partner(world.stan)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(former)})
    contrary(world, animal)
    told = Letter.objects.filter(kind="standing_notice").values_list("to", flat=True)
    assert sorted(told) == sorted([world.odile.email, world.pim.email])
    letter = Letter.objects.get(kind="standing_notice", to=world.pim.email)
    assert letter.recipient == world.pim.pk
    assert (letter.context["to_name"], letter.context["was"], letter.context["now"]) == (
        "Pim Alder",
        "verified male",
        "contested",
    )
    assert UUID(letter.context["animal"]["id"]) == animal.pk

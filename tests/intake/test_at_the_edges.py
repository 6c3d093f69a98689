"""Where a rule begins and ends: to the millisecond, at the last call that still counts."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.intake.test_sales import contrary, refused
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.rules import photos
from scalewitness.mail.models import Letter
from scalewitness.people.models import Grant, Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
MOMENT = timedelta(milliseconds=1)


def pointer(error: pytest.ExceptionInfo[Refused]) -> str:
    found: str = error.value.as_problem()["errors"][0]["pointer"]
    return found


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


@told_once
def disputed(world: World) -> Dispute:
    """A verified male was sold; then Greta found a female, blind."""
    animal = world.verified("V1")
    world.sold(animal)
    contrary(world, animal)
    return Dispute.objects.get()


def set_aside(world: World, dispute: Dispute, *calls: Call) -> None:
    world.find(dispute, *calls)


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
    world.back(first, animal)
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


# --- near misses ----------------------------------------------------------------------------


def test_a_viewer_examines_nothing_with_a_visit_or_without(world: World) -> None:
    animal = world.animal("A1")
    given = {"to": str(world.stan.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", world.collection.pk, given)
    visit = world.visit(world.greta, animal)
    for more in ({}, {"visit": visit}):
        with pytest.raises(Refused) as error:
            world.call(world.stan, animal, "male", **more)
        assert refused(error) == "not_allowed"


def test_a_transponder_is_enough_to_tell_animals_apart_on_a_blind_visit(world: World) -> None:
    about = new_id(world.now)
    registered = {"collection": str(world.collection.pk), "species": "python_regius"}
    world.say(world.odile, "animal_registered", about, registered)
    animal = Animal.objects.get(pk=about)
    with pytest.raises(Refused, match="tag or transponder"):
        world.invite(world.greta, animal)
    code = {"scheme": "transponder", "code": "276098100000001"}
    world.say(world.odile, "identifier_assigned", animal.pk, code)
    world.invite(world.greta, animal)


def test_a_photo_of_a_held_call_waits_with_it_and_one_of_another_shows_nothing(
    world: World,
) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=2)
    world.pass_time(days=16)
    held = world.call(world.greta, animal, "male", visit=visit, at=examined)
    of_it = body_of(plain_file()) | {"of": held.id}
    assert world.say(world.greta, "photo_attached", animal.pk, of_it).status == "held"
    with pytest.raises(Refused) as error:
        world.say(world.greta, "photo_attached", animal.pk, of_it | {"of": str(new_id())})
    assert refused(error) == "not_found"


def test_the_visit_is_asked_for_where_one_is_needed(world: World) -> None:
    animal = world.animal("A1")
    world.visit(world.greta, animal)
    with pytest.raises(Refused) as error:
        world.call(world.greta, animal, "male")
    assert (refused(error), pointer(error)) == ("wrong_shape", "/body/visit")


def test_a_visit_ends_for_an_animal_that_leaves(world: World) -> None:
    """A check made after it left is not covered, one made before is."""
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=9)
    room = create_collection(world.odile, new_id(world.now), "The back room", world.now)
    world.pass_time(days=1)
    left = world.now
    world.say(world.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})
    world.pass_time(days=1)
    with pytest.raises(Refused) as error:
        world.call(world.greta, animal, "male", visit=visit, at=left + MOMENT)
    assert refused(error) == "not_found"
    assert world.call(world.greta, animal, "male", visit=visit, at=left).status == "accepted"


@pytest.mark.parametrize("named", ["older", "younger"])
def test_a_call_is_taken_back_on_its_own_animal_alone(world: World, named: str) -> None:
    older, younger = world.animal("A1"), world.animal("A2")
    world.pass_time(days=1)
    about, other = (older, younger) if named == "older" else (younger, older)
    made = world.call(world.odile, other, "male")
    with pytest.raises(Refused) as error:
        world.say(world.odile, "call_withdrawn", about.pk, {"call": made.id})
    assert refused(error) == "not_found"


@pytest.mark.parametrize("to", ["older", "younger"])
def test_an_animal_that_left_is_not_offered_from_where_it_was(world: World, to: str) -> None:
    older = create_collection(world.odile, new_id(world.now - timedelta(days=1)), "A", world.now)
    younger = create_collection(world.odile, new_id(world.now + timedelta(days=1)), "B", world.now)
    animal = world.verified("V1")
    sale = world.draft(animal)
    room = older if to == "older" else younger
    world.say(world.odile, "custody_changed", animal.pk, {"to": str(room.pk), "why": "moved"})
    with pytest.raises(Refused, match="left the collection"):
        world.offer(sale)


def test_the_last_photo_there_is_room_for(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_OF_AN_ANIMAL", 2)
    monkeypatch.setattr(photos, "MOST_OF_A_CALL", 1)
    animal = world.animal("A1")
    call = world.call(world.odile, animal, "male")
    for of, most in (({}, 2), ({"of": call.id}, 1)):
        body = body_of(plain_file()) | of
        for _ in range(most):
            world.say(world.odile, "photo_attached", animal.pk, body)
        with pytest.raises(Refused, match=f"There are {most} photos") as error:
            world.say(world.odile, "photo_attached", animal.pk, body)
        assert (refused(error), pointer(error)) == ("out_of_range", "/body/of")


def test_more_photos_than_there_is_room_for_by_now_take_no_more(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit may be lowered later."""
    animal, body = world.animal("A1"), body_of(plain_file())
    for _ in range(2):
        world.say(world.odile, "photo_attached", animal.pk, body)
    monkeypatch.setattr(photos, "MOST_OF_AN_ANIMAL", 1)
    with pytest.raises(Refused, match="There are 1 photos"):
        world.say(world.odile, "photo_attached", animal.pk, body)

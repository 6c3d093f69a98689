"""Checks of partners: covered from the first moment of a partnership to its last."""

from datetime import datetime, timedelta
from uuid import UUID

import pytest
from tests.intake.test_sales import refused
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.people.models import Keeper, Practitioner

pytestmark = pytest.mark.django_db
MOMENT, DAY = timedelta(milliseconds=1), timedelta(days=1)


def end(world: World, grant: UUID) -> datetime:
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    return world.now


def check(world: World, who: Keeper, animal: Animal, at: datetime) -> str:
    """How it is taken, or why it is refused."""
    try:
        return world.call(who, animal, "male", at=at).status
    except Refused as problem:
        return str(problem.as_problem()["code"])


@pytest.mark.parametrize(
    ("edge", "off", "taken"),
    [
        ("begins", -MOMENT, "not_allowed"),
        ("begins", timedelta(0), "accepted"),
        ("ends", timedelta(0), "accepted"),
        ("ends", MOMENT, "not_allowed"),
    ],
)
def test_a_partnership_covers_its_first_and_its_last_moment(
    world: World, edge: str, off: timedelta, taken: str
) -> None:
    animal = world.animal("A1")
    world.pass_time(days=1)
    grant, moments = world.make_partner(world.pim), {"begins": world.now}
    world.pass_time(days=1)
    moments["ends"] = end(world, grant)
    world.pass_time(days=1)
    assert check(world, world.pim, animal, moments[edge] + off) == taken


@pytest.mark.parametrize(("over", "taken"), [(MOMENT, "held"), (timedelta(0), "accepted")])
def test_how_late_a_partners_check_is_counts_from_the_last_partnership(
    world: World, over: timedelta, taken: str
) -> None:
    """Two ran at the time of the check; the one given later ended later."""
    animal = world.animal("A1")
    first, second = world.make_partner(world.pim), world.make_partner(world.pim)
    examined = world.now
    world.pass_time(days=1)
    end(world, first)
    world.pass_time(days=3)
    ended = end(world, second)
    world.now = ended + 14 * DAY + over
    assert check(world, world.pim, animal, examined) == taken


def test_a_partner_until_a_day_is_one_until_then(world: World) -> None:
    animal, until = world.animal("A1"), world.now + DAY
    body = {"to": str(world.pim.pk), "role": "partner", "until": rfc3339(until)}
    world.say(world.odile, "grant_given", world.collection.pk, body)
    world.pass_time(days=2)
    assert check(world, world.pim, animal, until + MOMENT) == "not_allowed"
    assert check(world, world.pim, animal, until) == "accepted"


def test_a_partnership_ends_for_an_animal_that_leaves(world: World) -> None:
    animal = world.animal("A1")
    world.make_partner(world.pim)
    room = create_collection(world.odile, new_id(world.now), "The back room", world.now)
    world.pass_time(days=1)
    left = world.now
    moved = {"to": str(room.pk), "why": "moved"}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    world.pass_time(days=1)
    assert check(world, world.pim, animal, left + MOMENT) == "not_allowed"
    assert check(world, world.pim, animal, left) == "accepted"


def test_a_partner_who_names_a_visit_of_somebody_is_on_none(world: World) -> None:
    animal = world.animal("A1")
    world.make_partner(world.pim)
    visit = world.visit(world.greta, animal)
    for who in (world.odile, world.pim):
        with pytest.raises(Refused) as error:
            world.call(who, animal, "male", visit=visit)
        problem = error.value.as_problem()
        assert (problem["code"], problem["errors"][0]["pointer"]) == ("wrong_shape", "/body/visit")


def test_a_former_partner_examines_on_a_visit_as_any_guest(world: World) -> None:
    """Not blind: they knew the record."""
    animal = world.animal("A1")
    grant = world.make_partner(world.pim)
    world.pass_time(days=1)
    end(world, grant)
    world.pass_time(days=1)
    visit = world.visit(world.pim, animal)
    with pytest.raises(Refused) as error:
        world.call(world.pim, animal, "male")
    assert (refused(error), error.value.as_problem()["errors"][0]["pointer"]) == (
        "wrong_shape", "/body/visit",
    )  # fmt: skip
    world.call(world.pim, animal, "male", visit=visit)
    assert Call.objects.get(by=world.pim.pk).blind is False


# --- what the record states of a call as it takes it ---------------------------------------


def test_what_the_examiner_was_told_counts_before_what_the_record_says(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    world.call(world.odile, animal, "male", body={"told": "female"})
    told = list(Call.objects.order_by("position").values_list("anchored_to", flat=True))
    assert told == [None, "female"]


@pytest.mark.parametrize(
    ("who", "body", "blind", "interested", "anchored_to"),
    [
        ("greta", {}, True, False, None),
        ("greta", {"told": "male"}, False, False, "male"),
        ("greta", {"told": "female"}, False, False, "female"),
        (
            "greta",
            {"observed": {"method": "statement", "source": "seller"}},
            False,
            False,
            "female",
        ),
        ("odile", {}, False, True, "female"),
        ("odile", {"told": "male"}, False, True, "male"),
    ],
)
def test_what_the_record_states_of_a_call(
    world: World,
    who: str,
    body: dict[str, object],
    blind: bool,
    interested: bool,
    anchored_to: str | None,
) -> None:
    """A guest on a blind visit, and the keeper, of an animal called female before."""
    animal = world.animal("A1")
    world.call(world.odile, animal, "female")
    world.pass_time(days=1)
    visit = {"visit": world.visit(world.greta, animal)} if who == "greta" else {}
    made = world.call(getattr(world, who), animal, "female", body=body, **visit)
    call = Call.objects.get(position=made.position)
    assert (call.blind, call.interested, call.anchored_to) == (blind, interested, anchored_to)


@pytest.mark.parametrize(
    ("by", "code", "identity"),
    [
        ("tag", "A1", "tub_tag"),
        ("tag", "B1", "mismatch"),
        ("transponder", "276098100000001", "confirmed"),
        ("transponder", "276098100000002", "mismatch"),
        ("scale_photo", None, "unconfirmed"),
        ("scale_photo", "A1", "unconfirmed"),
        ("keeper_said", None, "unconfirmed"),
        ("keeper_said", "B1", "unconfirmed"),
        ("appearance", "A1", "unconfirmed"),
    ],
)
def test_only_a_code_that_was_read_tells_which_animal_it_was(
    world: World, by: str, code: str | None, identity: str
) -> None:
    animal = world.animal("A1")
    said = {"scheme": "transponder", "code": "276098100000001"}
    world.say(world.odile, "identifier_assigned", animal.pk, said)
    identified = {"by": by} | ({"code": code} if code else {})
    world.call(world.odile, animal, "male", body={"identified": identified})
    assert Call.objects.get().identity == identity


def test_a_statement_names_its_source_in_itself(world: World) -> None:
    animal = world.animal("A1")
    named = str(new_id())
    body = probing("female") | {
        "observed": {"method": "statement", "source": "seller"},
        "reported": {"role": "earlier_keeper", "who": named},
    }
    Practitioner.objects.create(id=named, named_by=world.odile, name="Earlier Keeper")
    with pytest.raises(Refused, match="its own source") as error:
        world.say(world.odile, "call_made", animal.pk, body)
    assert error.value.as_problem()["errors"][0]["pointer"] == "/body/reported"

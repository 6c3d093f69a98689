"""What is given to somebody whose blind check is awaited opens nothing before it is in."""

from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from tests.world import World, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.queries import is_steward
from scalewitness.animals.queries.grants import partners_of
from scalewitness.animals.services import create_collection
from scalewitness.breeding.queries.uses import informed_by_use
from scalewitness.calls.models import Call
from scalewitness.calls.queries.visibility import checks_blind, parents_shown, sights_of
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
DAYS_OF_GRACE = 14
MOMENT = timedelta(milliseconds=1)


@pytest.fixture
def animal(world: World) -> Animal:
    return world.animal("A-1")


def sight(world: World, animal: Animal, now: datetime | None = None) -> str | None:
    return sights_of(world.greta.pk, [animal.pk], now or world.now).get(animal.pk)


def partner(world: World, animal: Animal) -> None:
    world.make_partner(world.greta)


def viewer_of_all(world: World, animal: Animal) -> None:
    body = {"to": str(world.greta.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", world.collection.pk, body)


def viewer_of_it(world: World, animal: Animal) -> None:
    world.view(world.greta, animal)


def partner_for_a_minute(world: World, animal: Animal) -> None:
    given = world.make_partner(world.greta)
    world.pass_time(minutes=1)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(given)})


def partner_where_it_went(world: World, animal: Animal) -> None:
    shelf = create_collection(world.odile, new_id(world.now), "Shelf", world.now)
    moved = {"to": str(shelf.pk), "why": "moved"}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    world.say(world.odile, "grant_given", shelf.pk, {"to": str(world.greta.pk), "role": "partner"})


def after_calling_it_off(world: World, animal: Animal) -> None:
    world.say(world.odile, "visit_cancelled", visit_on(animal))
    world.pass_time(minutes=1)
    world.make_partner(world.greta)


def visit_on(animal: Animal) -> UUID:
    return UUID(str(animal.visits.get().pk))


GIVEN = (
    partner, viewer_of_all, viewer_of_it, partner_for_a_minute, partner_where_it_went,
    after_calling_it_off,
)  # fmt: skip


@pytest.mark.parametrize("given", GIVEN)
@pytest.mark.parametrize("days", [0, 13])
def test_no_grant_after_a_check_takes_its_blindness(
    world: World, animal: Animal, given: Callable[[World, Animal], None], days: int
) -> None:
    """Made on a visit of three days; the phone has a signal at last after some days."""
    visit = world.visit(world.greta, animal)
    world.pass_time(hours=1)
    examined = world.now
    world.pass_time(hours=1)
    given(world, animal)
    world.pass_time(days=days, minutes=-3)
    assert sight(world, animal) == (None if days or not has_it(world, animal) else "blind")
    assert not is_steward(world.greta.pk, animal.collection, world.now)
    world.call(world.greta, animal, "male", visit=visit, at=examined)
    call = Call.objects.get()
    assert (call.blind, call.interested) == (True, False)


def has_it(world: World, animal: Animal) -> bool:
    """Whether the visit is open still, and the animal where it was."""
    steps = animal.visits.get().steps.values_list("kind", flat=True)
    animal.refresh_from_db()
    return "visit_cancelled" not in steps and animal.collection_id == world.collection.pk


def test_a_partnership_opens_with_the_last_call(world: World, animal: Animal) -> None:
    other = world.animal("A-2")
    visit = world.visit(world.greta, animal, other)
    world.make_partner(world.greta)
    world.call(world.greta, animal, "male", visit=visit)
    assert not is_steward(world.greta.pk, world.collection, world.now)
    assert list(partners_of(world.collection.pk, world.now)) == []
    with pytest.raises(Refused):  # they keep nothing here yet
        world.say(world.greta, "animal_ended", other.pk, {"why": "lost"})
    world.call(world.greta, other, "male", visit=visit)
    assert is_steward(world.greta.pk, world.collection, world.now)
    assert list(partners_of(world.collection.pk, world.now)) == [world.greta]
    assert Call.objects.filter(blind=True, interested=False).count() == 2


def test_of_all_in_one_push_each_is_blind(world: World, animal: Animal) -> None:
    other = world.animal("A-2")
    visit = world.visit(world.greta, animal, other)
    world.make_partner(world.greta)
    items = [
        world.item("call_made", one.pk, probing("male", tag_of(one)) | {"visit": str(visit)})
        for one in (animal, other)
    ]
    world.push(world.greta, *items)
    assert Call.objects.filter(blind=True, interested=False).count() == 2


def test_it_opens_at_the_latest_two_weeks_after_the_visit(world: World, animal: Animal) -> None:
    """And whoever calls after that knew."""
    visit = world.visit(world.greta, animal, days=3)
    examined = world.now
    world.make_partner(world.greta)
    over = examined + timedelta(days=3 + DAYS_OF_GRACE)
    assert sight(world, animal, over - MOMENT) is None
    assert sight(world, animal, over) == "all"
    world.now = over + timedelta(minutes=1)
    late = world.call(world.greta, animal, "male", visit=visit, at=examined)
    world.say(world.odile, "late_call_decided", animal.pk, {"held": late.id, "admitted": True})
    assert Call.objects.get().blind is False


def test_a_guest_who_gives_the_visit_back_is_waited_for_no_more(
    world: World, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal)
    examined = world.now
    world.make_partner(world.greta)
    world.pass_time(hours=1)
    world.say(world.greta, "grant_revoked", world.collection.pk, {"grant": str(visit)})
    assert sight(world, animal) == "all"
    world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert Call.objects.get().blind is False


def test_a_visit_called_off_before_it_opened_is_waited_for_no_more(
    world: World, animal: Animal
) -> None:
    world.now -= timedelta(days=1)
    visit = invited(world, animal, opens=world.now + timedelta(days=1))
    world.make_partner(world.greta)
    assert sight(world, animal) is None
    world.say(world.odile, "visit_cancelled", visit)
    assert sight(world, animal) == "all"


def invited(world: World, animal: Animal, opens: datetime) -> UUID:
    visit, now = new_id(world.now), world.now
    body = {
        "collection": str(world.collection.pk),
        "guest": str(world.greta.pk),
        "animals": [str(animal.pk)],
        "opens": rfc3339(opens),
        "closes": rfc3339(opens + timedelta(days=1)),
        "blind": True,
    }
    world.say(world.odile, "visit_invited", visit, body)
    world.say(world.greta, "visit_accepted", visit)
    assert world.now == now
    return visit


def test_what_was_given_before_the_visit_was_accepted_opens_at_once(
    world: World, animal: Animal
) -> None:
    """Its guest could read the record before they checked: no blind check."""
    visit = world.invite(world.greta, animal)
    world.make_partner(world.greta)
    world.say(world.greta, "visit_accepted", visit)
    assert sight(world, animal) == "all"
    world.call(world.greta, animal, "male", visit=visit)
    assert Call.objects.get().blind is False


def test_whoever_waits_is_invited_to_no_further_visit(world: World, animal: Animal) -> None:
    world.visit(world.greta, animal)
    world.make_partner(world.greta)
    with pytest.raises(Refused, match="A partner needs no visit"):
        world.invite(world.greta, animal)


def test_a_grant_between_a_late_check_and_its_admission_tells_its_examiner_nothing(
    world: World, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now
    world.pass_time(days=20)
    late = world.call(world.greta, animal, "male", visit=visit, at=examined)
    world.pass_time(hours=1)
    world.make_partner(world.greta)
    world.say(world.odile, "late_call_decided", animal.pk, {"held": late.id, "admitted": True})
    call = Call.objects.get()
    assert (call.blind, call.interested) == (True, False)


@pytest.mark.parametrize("given", [partner, viewer_of_all])
@pytest.mark.parametrize("named", ["before", "after"])
def test_young_in_the_hosts_rooms_tell_whoever_waits_nothing(
    world: World, animal: Animal, given: Callable[[World, Animal], None], named: str
) -> None:
    """Also once the visit is over, as long as the call may come."""
    young = world.animal("K-1", **({"dam": str(animal.pk)} if named == "before" else {}))
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now
    given(world, animal)
    if named == "after":
        body = {"species": "python_regius", "dam": str(animal.pk)}
        world.say(world.odile, "particulars_corrected", young.pk, body)
    world.pass_time(days=5)
    young.refresh_from_db()
    assert parents_shown(world.greta.pk, [young], world.now)[young.pk] == (None, None)
    assert informed_by_use([world.greta.pk], [animal.pk], world.now) == {world.greta.pk: set()}
    world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert Call.objects.get().blind


def test_parents_of_a_guests_own_young_stay_untold_until_the_call_may_come_no_more(
    world: World, animal: Animal
) -> None:
    """Named by the guest's partner during the visit; its end told them, and made the call a knowing
    one where the phone had no signal."""
    shelf = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    world.say(world.greta, "grant_given", shelf.pk, {"to": str(world.odile.pk), "role": "partner"})
    young = world.animal("K-1", room=shelf)
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now
    body = {"species": "python_regius", "sire": str(animal.pk)}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    young.refresh_from_db()
    world.pass_time(days=10)
    assert parents_shown(world.greta.pk, [young], world.now)[young.pk] == (None, None)
    assert checks_blind(world.greta.pk, world.now)
    later = world.now + timedelta(days=6)
    assert parents_shown(world.greta.pk, [young], later)[young.pk] == (animal.pk, None)
    assert informed_by_use([world.greta.pk], [animal.pk], later) == {world.greta.pk: {animal.pk}}
    world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert Call.objects.get().blind

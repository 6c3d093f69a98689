"""Nobody but its examiner can make a check vanish: what ends a guest's cover counts from when the
record heard of it, and what waits for the host waits unseen."""

from collections.abc import Callable, Mapping
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from tests.intake.test_sales import refused
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal, Husbandry
from scalewitness.animals.services import create_collection
from scalewitness.calls.models import Call
from scalewitness.calls.queries.held import (
    ALONE_AFTER,
    late_checks_of,
    lone_notes_in,
    own_held_notes,
)
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import parse_moment
from scalewitness.intake.outcomes import Outcome
from scalewitness.letters.late import remind_of_late_calls
from scalewitness.mail.models import Letter

pytestmark = pytest.mark.django_db

WEIGHT = {"noted": {"type": "weight", "grams": "412"}}


def moves(world: World, animal: Animal, visit: str, **more: Any) -> None:
    room = create_collection(world.odile, new_id(world.now), "Elsewhere", world.now)
    body = {"to": str(room.pk), "why": "moved"}
    world.say(world.odile, "custody_changed", animal.pk, body, **more)


def cancels(world: World, animal: Animal, visit: str, **more: Any) -> None:
    world.say(world.odile, "visit_cancelled", new(visit), **more)


def revokes(world: World, animal: Animal, visit: str, **more: Any) -> None:
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": visit}, **more)


def states_its_death(world: World, animal: Animal, visit: str, **more: Any) -> None:
    world.say(world.odile, "animal_ended", animal.pk, {"why": "died"}, **more)


def corrects_its_hatching(world: World, animal: Animal, visit: str, **more: Any) -> None:
    body = {"species": "python_regius", "hatched": "2026-10-01"}
    world.say(world.odile, "particulars_corrected", animal.pk, body, **more)


def drafts_a_sale_to_them(world: World, animal: Animal, visit: str, **more: Any) -> None:
    """Which is no fact, and tells them nothing."""
    world.draft(animal, email=world.greta.email)


def new(text: str) -> Any:
    return type(new_id())(text)


ENDINGS = (moves, cancels, revokes, states_its_death, corrects_its_hatching, drafts_a_sale_to_them)


@pytest.mark.parametrize("host", ENDINGS)
def test_no_host_ends_a_visit_before_a_check_by_a_claimed_time(
    world: World, host: Callable[..., None]
) -> None:
    """The guest checked it; a quarter of an hour later the host states, as of three hours ago,
    what would have kept them from it."""
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    world.pass_time(hours=4)
    examined = world.now
    world.pass_time(minutes=15)
    host(world, animal, str(visit), at=world.now - timedelta(hours=3))
    world.pass_time(minutes=15)
    made = world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert made.status == "accepted"
    assert Call.objects.get().blind
    note = world.say(world.greta, "husbandry_noted", animal.pk, WEIGHT, at=examined)
    assert note.status == "accepted"


@pytest.mark.parametrize("host", [moves, cancels, revokes])
def test_no_host_makes_a_check_late_by_a_claimed_time(
    world: World, host: Callable[..., None]
) -> None:
    """Two weeks run from when the record heard, not from a month before."""
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=60)
    world.pass_time(days=30)
    examined = world.now - timedelta(days=30) + timedelta(hours=1)
    host(world, animal, str(visit), at=world.now - timedelta(days=29))
    world.pass_time(days=13)
    made = world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert made.status == "accepted"


def test_what_was_done_after_the_record_heard_is_covered_no_more(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    world.pass_time(hours=4)
    moves(world, animal, str(visit), at=world.now + timedelta(hours=3))
    world.pass_time(hours=1)
    with pytest.raises(Refused) as error:
        world.call(world.greta, animal, "male", visit=visit)
    assert refused(error) == "not_found"


# --- held ---------------------------------------------------------------------------------


def late_visit(world: World, animal: Animal, sex: str = "male", days: int = 16) -> list[Any]:
    """What Greta did on a visit that ended long ago, weight first, as her phone sends it."""
    visit = world.visit(world.greta, animal, days=1)
    at = world.now + timedelta(hours=2)
    world.pass_time(days=days)
    call = probing(sex, "A1") | {"visit": str(visit)}
    return [
        world.item("husbandry_noted", animal.pk, WEIGHT, at=at),
        world.item("call_made", animal.pk, call, at=at),
    ]


def decide(world: World, animal: Animal, held: str | None, admitted: bool) -> Outcome:
    body = {"held": held, "admitted": admitted}
    return world.say(world.odile, "late_call_decided", animal.pk, body)


def statuses(outcomes: list[Outcome]) -> list[str]:
    return [one.status for one in outcomes]


def test_a_weight_within_two_weeks_is_taken_as_its_call_is(world: World) -> None:
    animal = world.animal("A1")
    items = late_visit(world, animal, days=9)
    assert statuses(world.push(world.greta, *items)) == ["accepted", "accepted"]
    assert Husbandry.objects.get(type="weight").by == world.greta.pk


def test_a_weight_taken_with_a_late_call_is_admitted_with_it(world: World) -> None:
    animal = world.animal("A1")
    items = late_visit(world, animal)
    weight, call = world.push(world.greta, *items)
    assert statuses([weight, call]) == ["held", "held"]
    assert not Husbandry.objects.filter(type="weight").exists()
    decide(world, animal, call.id, True)
    noted, made = Husbandry.objects.get(type="weight"), Call.objects.get()
    assert (str(noted.pk), noted.by, noted.at) == (weight.id, world.greta.pk, made.examined_at)
    assert noted.position < made.position, "the call is judged by it"
    assert statuses(world.push(world.greta, *items)) == ["duplicate", "duplicate"]
    call_command("fsck", stdout=StringIO(), stderr=StringIO())  # raises at any difference
    more = world.item("husbandry_noted", animal.pk, WEIGHT, at=made.examined_at)
    (one,) = world.push(world.greta, more)
    assert one.status == "accepted", "its call is on record already"


def test_a_weight_taken_with_a_late_call_is_refused_with_it_in_words(world: World) -> None:
    animal = world.animal("A1")
    items = late_visit(world, animal)
    _, call = world.push(world.greta, *items)
    decide(world, animal, call.id, False)
    again = world.push(world.greta, *items)
    assert statuses(again) == ["refused", "refused"]
    for one in again:
        assert one.problem is not None
        assert "did not admit" in one.problem["detail"]
    more = world.item("husbandry_noted", animal.pk, WEIGHT, at=world.now - timedelta(days=15.9))
    (one,) = world.push(world.greta, more)
    assert one.problem is not None
    assert "did not admit" in one.problem["detail"]
    assert not Husbandry.objects.filter(type="weight").exists()
    assert not Call.objects.exists()


def test_a_weight_waits_while_any_call_of_its_visit_does(world: World) -> None:
    animal = world.animal("A1")
    weight, first = late_visit(world, animal)
    second = world.item("call_made", animal.pk, first["body"], at=world.now - timedelta(days=15.8))
    world.push(world.greta, weight, first, second)
    decide(world, animal, first["id"], False)
    assert statuses(world.push(world.greta, weight)) == ["held"]
    decide(world, animal, second["id"], True)
    assert Husbandry.objects.get(type="weight").by == world.greta.pk


@pytest.mark.parametrize("admitted", [True, False])
def test_a_weight_whose_check_never_comes_is_decided_by_itself(
    world: World, admitted: bool
) -> None:
    """After two weeks; a check that comes meanwhile takes it along again."""
    animal = world.animal("A1")
    weight, call = late_visit(world, animal)
    assert statuses(world.push(world.greta, weight)) == ["held"]
    with pytest.raises(Refused) as error:
        decide(world, animal, weight["id"], admitted)
    assert refused(error) == "not_found", "its check may still come"
    world.pass_time(days=ALONE_AFTER.days)
    (alone,) = lone_notes_in([world.collection.pk], world.now)
    assert str(alone.pk) == weight["id"]
    decide(world, animal, weight["id"], admitted)
    assert lone_notes_in([world.collection.pk], world.now) == []
    assert Husbandry.objects.filter(type="weight").count() == admitted
    assert statuses(world.push(world.greta, weight)) == ["duplicate" if admitted else "refused"]
    letter = Letter.objects.get(kind="late_note_decided")
    assert (letter.to, letter.context["admitted"]) == (world.greta.email, admitted)
    (own,) = own_held_notes(world.greta.pk)
    assert own.decision_made is admitted
    with pytest.raises(Refused, match="already been decided"):
        decide(world, animal, weight["id"], admitted)
    (late,) = world.push(world.greta, call)
    decide(world, animal, late.id, True)
    assert Husbandry.objects.filter(type="weight").count() == admitted, "once"
    call_command("fsck", stdout=StringIO(), stderr=StringIO())


def test_a_weight_whose_check_came_after_all_goes_with_that(world: World) -> None:
    animal = world.animal("A1")
    weight, call = late_visit(world, animal)
    world.push(world.greta, weight)
    world.pass_time(days=ALONE_AFTER.days)
    world.push(world.greta, call)
    assert lone_notes_in([world.collection.pk], world.now) == []
    with pytest.raises(Refused):
        decide(world, animal, weight["id"], False)
    decide(world, animal, call["id"], True)
    assert Husbandry.objects.get(type="weight").by == world.greta.pk


@pytest.mark.parametrize("since", ["viewer", "visit"])
def test_a_weight_is_judged_by_the_visit_it_was_taken_on(world: World, since: str) -> None:
    """Not by what its guest was given since: that would take it whatever became of its call."""
    animal = world.animal("A1")
    items = late_visit(world, animal)
    if since == "viewer":
        world.view(world.greta, animal)
    else:
        world.visit(world.greta, animal)
    _, call = world.push(world.greta, *items)
    assert statuses(world.push(world.greta, items[0])) == ["held"]
    decide(world, animal, call.id, False)
    assert statuses(world.push(world.greta, items[0])) == ["refused"]
    now = world.item("husbandry_noted", animal.pk, WEIGHT)
    assert statuses(world.push(world.greta, now)) == ["accepted"]


def test_nobody_elses_weight_is_held(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    at = world.now + timedelta(hours=2)
    world.pass_time(days=16)
    meal = {"noted": {"type": "meal", "taken": True}}
    cases: list[tuple[Any, Mapping[str, Any], Any, str]] = [
        (world.stan, WEIGHT, at, "not_found"),
        (world.greta, WEIGHT, at + timedelta(days=2), "not_found"),
        (world.greta, meal, at, "not_allowed"),
    ]
    for who, body, when, code in cases:
        with pytest.raises(Refused) as error:
            world.say(who, "husbandry_noted", animal.pk, body, at=when)
        assert refused(error) == code
    assert visit


# --- who hears what ---------------------------------------------------------------------------


@pytest.mark.parametrize("admitted", [True, False])
def test_the_guest_hears_of_the_decision_and_no_letter_tells_a_sex(
    world: World, admitted: bool
) -> None:
    animal = world.animal("A1")
    _, call = world.push(world.greta, *late_visit(world, animal))
    decide(world, animal, call.id, admitted)
    letter = Letter.objects.get(kind="late_call_decided")
    assert (letter.to, letter.context["call"]) == (world.greta.email, call.id)
    assert letter.context["admitted"] is admitted
    assert not {"male", "female"} & {str(one) for one in letter.context.values()}


def test_guest_and_host_are_reminded_and_silence_admits_nothing(world: World) -> None:
    animal = world.animal("A1")
    world.push(world.greta, *late_visit(world, animal))
    world.pass_time(days=6.9)
    assert remind_of_late_calls(world.now) == 0
    for days in (7, 30):
        world.pass_time(days=days)
        for _ in range(2):
            remind_of_late_calls(world.now)
    told = Letter.objects.filter(kind__startswith="late_call_waits").order_by("created_at", "to")
    assert [(one.to, one.context["days"]) for one in told] == [
        (world.greta.email, 7),
        (world.odile.email, 7),
        (world.greta.email, 30),
        (world.odile.email, 30),
    ]
    assert not Call.objects.exists()
    assert len(late_checks_of(animal.pk).waiting) == 1


def test_a_code_that_says_what_was_found_does_not_reach_the_host(world: World) -> None:
    """Neither by letter, where the guest is told it back, nor on their page or the feed."""
    animal = world.animal("A1")
    _, call = late_visit(world, animal)
    call["body"]["identified"] = {"by": "tag", "code": "surely male"}
    (held,) = world.push(world.greta, call)
    assert held.status == "held"
    world.pass_time(days=8)
    remind_of_late_calls(world.now)
    to_host, to_guest = (
        Letter.objects.get(kind=kind).context
        for kind in ("late_call_waits", "late_call_waits_guest")
    )
    assert "surely" not in str(to_host)
    assert to_guest["code"] == "surely male"


def test_a_hundred_late_checks_of_one_visit_are_one_to_readers_and_one_letter(
    world: World,
) -> None:
    animal = world.animal("A1")
    (_, call) = late_visit(world, animal)
    many = [world.item("call_made", animal.pk, call["body"], at=call_at(call)) for _ in range(20)]
    world.push(world.greta, *many)
    assert len(late_checks_of(animal.pk).waiting) == 1
    world.pass_time(days=8)
    remind_of_late_calls(world.now)
    assert Letter.objects.get(kind="late_call_waits").context["count"] == 20


def call_at(item: Mapping[str, Any]) -> Any:
    return parse_moment(item["at"])


def test_refusing_every_late_check_shows_and_tells_nothing_of_what_they_said(
    world: World,
) -> None:
    """A seller who refuses the contrary one refuses blindly, and both refusals show alike."""
    found = {}
    for tag, sex in (("A1", "male"), ("A2", "female")):
        animal = world.animal(tag)
        visit = world.visit(world.greta, animal, days=1)
        at = world.now + timedelta(hours=2)
        world.pass_time(days=16)
        held = world.call(world.greta, animal, sex, visit=visit, at=at)
        waiting = late_checks_of(animal.pk)
        assert (len(waiting.waiting), len(waiting.not_admitted)) == (1, 0)
        decide(world, animal, held.id, False)
        after = late_checks_of(animal.pk)
        found[sex] = (len(after.waiting), len(after.not_admitted), world.label(animal))
    assert found["male"] == found["female"] == (0, 1, "unsexed")


def test_whoever_got_the_animal_and_its_examiner_do_not_learn_of_each_other(world: World) -> None:
    """A guest of its earlier keeper checked it, and its new keeper decides."""
    animal = world.animal("A1")
    _, call = late_visit(world, animal)
    (held,) = world.push(world.greta, call)
    room = create_collection(world.stan, new_id(world.now), "Elsewhere", world.now)
    lets_in = {"to": str(world.odile.pk), "role": "partner"}
    world.say(world.stan, "grant_given", room.pk, lets_in)
    given = {"to": str(room.pk), "why": "given"}
    world.say(world.odile, "custody_changed", animal.pk, given)
    world.pass_time(days=8)
    remind_of_late_calls(world.now)
    body = {"held": held.id, "admitted": True}
    world.say(world.stan, "late_call_decided", animal.pk, body)
    letters = Letter.objects.filter(kind__startswith="late_call_")
    told = {one.kind: (one.to, one.context) for one in letters}
    assert told["late_call_waits"][0] == world.stan.email
    assert told["late_call_waits"][1]["guest_name"] == "a guest of an earlier keeper"
    assert "Greta" not in str(told["late_call_waits"][1])
    for kind in ("late_call_waits_guest", "late_call_decided"):
        to, context = told[kind]
        assert (to, context["host_name"]) == (world.greta.email, "the animal's keeper")
        assert not {world.stan.name, str(world.stan.pk)} & {str(one) for one in context.values()}

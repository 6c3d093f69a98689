"""Calls: who may make one, how blind it was, late arrivals, taking one back."""

from datetime import timedelta

import pytest
from tests.world import World, new_id, probing

from scalewitness.calls.models import Call, HeldCall
from scalewitness.calls.queries.visibility import animal_seen, visible_animals
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.people.models import Practitioner

pytestmark = pytest.mark.django_db


def refusal(world: World, *args: object, **more: object) -> str:
    with pytest.raises(Refused) as refused:
        world.say(*args, **more)  # type: ignore[arg-type]
    return str(refused.value.as_problem()["code"])


def test_a_guests_first_call_on_a_blind_visit_is_blind(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "female")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    call = Call.objects.get(by=world.greta.pk)
    assert (call.blind, call.interested, call.anchored_to) == (True, False, None)


def test_a_second_call_of_the_same_guest_is_no_longer_blind(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    world.pass_time(days=1)
    world.call(world.greta, animal, "female", visit=visit)
    second = Call.objects.filter(by=world.greta.pk).order_by("position").last()
    assert second is not None
    assert (second.blind, second.anchored_to) == (False, "male")


def test_a_guest_who_was_told_is_not_blind(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit, body={"told": "male"})
    call = Call.objects.get()
    assert (call.blind, call.anchored_to) == (False, "male")


def test_a_guest_who_once_saw_the_record_is_not_blind_later(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "female")
    world.visit(world.greta, animal, blind=False, days=1)
    world.pass_time(days=2)
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "female", visit=visit)
    call = Call.objects.get(by=world.greta.pk)
    assert (call.blind, call.anchored_to) == (False, "female")


def test_the_keepers_own_call_is_interested_and_anchored(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    world.call(world.greta, animal, "male", visit=visit)
    world.call(world.odile, animal, "male")
    call = Call.objects.get(by=world.odile.pk)
    assert (call.blind, call.interested, call.anchored_to) == (False, True, "male")


def test_sight_opens_with_the_own_call_and_closes_with_the_visit(world: World) -> None:
    one, other = world.animal("A1"), world.animal("A2")
    visit = world.visit(world.greta, one, other)
    assert {seen.sight for seen in visible_animals(world.greta.pk, world.now)} == {"blind"}
    world.call(world.greta, one, "male", visit=visit)
    assert animal_seen(world.greta.pk, one.pk, world.now)[1] == "all"
    assert animal_seen(world.greta.pk, other.pk, world.now)[1] == "blind"
    world.pass_time(days=4)
    assert not visible_animals(world.greta.pk, world.now).exists()


def test_a_new_blind_visit_hides_what_came_since(world: World) -> None:
    """A call of an earlier visit does not open the record on a later one."""
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    world.call(world.greta, animal, "male", visit=visit)
    world.pass_time(days=2)
    world.call(world.odile, animal, "female")
    world.visit(world.greta, animal)
    assert animal_seen(world.greta.pk, animal.pk, world.now)[1] == "blind"


def test_strangers_and_the_uninvited_find_nothing(world: World) -> None:
    animal, kept_back = world.animal("A1"), world.animal("A2")
    visit = world.visit(world.greta, animal)
    body = probing("male")
    assert refusal(world, world.stan, "call_made", animal.pk, body) == "not_found"
    named = body | {"visit": str(visit)}
    assert refusal(world, world.stan, "call_made", animal.pk, named) == "not_found"
    assert refusal(world, world.greta, "call_made", kept_back.pk, named) == "not_found"
    assert refusal(world, world.greta, "call_made", animal.pk, body) == "wrong_shape"


def test_a_call_outside_the_visits_window_is_not_taken(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    body = probing("male") | {"visit": str(visit)}
    early = world.now - timedelta(hours=1)
    assert refusal(world, world.greta, "call_made", animal.pk, body, at=early) == "not_found"


def test_late_by_less_than_fourteen_days_is_accepted(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=2)
    world.pass_time(days=14)
    outcome = world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert outcome.status == "accepted"
    assert Call.objects.get().received_at == world.now


def test_later_is_held_and_the_host_decides(world: World) -> None:
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=2)
    world.pass_time(days=16)
    item = world.item(
        "call_made",
        animal.pk,
        probing("male", "A1") | {"visit": str(visit)},
        at=examined,
        texts={"note": "no signal in the valley"},
    )
    (held,) = world.push(world.greta, item)
    (again,) = world.push(world.greta, item)
    assert (held.status, again.status) == ("held", "held")
    assert not Call.objects.exists()
    assert (
        refusal(
            world, world.stan, "late_call_decided", animal.pk, {"held": held.id, "admitted": True}
        )
        == "not_found"
    )
    world.say(world.odile, "late_call_decided", animal.pk, {"held": held.id, "admitted": True})
    call = Call.objects.get()
    assert (str(call.pk), call.by, call.blind) == (held.id, world.greta.pk, True)
    assert call.examined_at == examined
    assert HeldCall.objects.get().decision.admitted
    (duplicate,) = world.push(world.greta, item)
    assert duplicate.status == "duplicate"


def test_a_revoked_grant_ends_sight_but_not_an_earlier_check(world: World) -> None:
    """Examined before the visit was called off, sent after it: the check was made."""
    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    examined = world.now + timedelta(hours=1)
    world.pass_time(hours=2)
    world.say(world.odile, "visit_cancelled", visit)
    assert not visible_animals(world.greta.pk, world.now).exists()
    assert world.call(world.greta, animal, "male", visit=visit, at=examined).status == "accepted"
    after = probing("male") | {"visit": str(visit)}
    world.pass_time(minutes=1)
    assert refusal(world, world.greta, "call_made", animal.pk, after) == "not_found"


def test_withdrawing_keeps_the_call_and_takes_it_out_of_the_count(world: World) -> None:
    animal = world.animal("A1")
    outcome = world.call(world.odile, animal, "male")
    assert world.label(animal) != "unsexed"
    assert (
        refusal(world, world.pim, "call_withdrawn", animal.pk, {"call": outcome.id}) == "not_found"
    )
    world.say(world.odile, "call_withdrawn", animal.pk, {"call": outcome.id})
    assert world.label(animal) == "unsexed"
    assert Call.objects.get().withdrawal is not None
    assert (
        refusal(world, world.odile, "call_withdrawn", animal.pk, {"call": outcome.id}) == "not_now"
    )


def test_an_objection_hides_nothing_and_moves_nothing(world: World) -> None:
    animal = world.animal("A1")
    world.make_partner(world.pim)
    outcome = world.call(world.odile, animal, "male")
    before = world.label(animal)
    body = {"call": outcome.id, "ground": "wrong_animal"}
    world.say(world.pim, "call_objected", animal.pk, body)
    assert world.label(animal) == before
    assert refusal(world, world.odile, "call_objected", animal.pk, body) == "not_allowed"


def test_a_tag_names_the_tub_and_a_transponder_the_animal(world: World) -> None:
    """Whenever the tag was given: nothing says that one ever hung on a snake."""
    animal = world.animal("A1")
    world.call(world.odile, animal, "male")
    by = {"by": "transponder", "code": world.chip(animal)}
    world.call(world.odile, animal, "male", body={"identified": by})
    read = Call.objects.order_by("position").values_list("identity", flat=True)
    assert list(read) == ["tub_tag", "confirmed"]


def test_eggs_seen_in_a_tub_settle_nothing_by_its_tag(world: World) -> None:
    laid, tagged = world.animal("A1"), world.animal("A2")
    world.lays(laid)
    assert world.label(laid) == "verified female"
    world.view(world.stan, tagged)
    eggs = {"observed": {"method": "reproduction", "event": "laid_eggs", "witnessed": True}}
    made = world.call(world.odile, tagged, "female", body=eggs)
    world.say(world.stan, "witness_stated", tagged.pk, {"call": made.id})
    assert world.label(tagged) == "probable female"


def test_a_wrong_code_read_is_a_mismatch(world: World) -> None:
    animal = world.animal("A1")
    world.call(world.odile, animal, "male", body={"identified": {"by": "tag", "code": "B7"}})
    assert Call.objects.get().identity == "mismatch"


def test_a_reported_veterinarian_is_the_examiner_and_the_sender_stays_named(world: World) -> None:
    animal = world.animal("A1")
    vet = Practitioner.objects.create(id=new_id(), named_by=world.odile, name="Dr Ilse Brandt")
    body = probing("male") | {
        "observed": {"method": "ultrasound", "seen": "hemipenes"},
        "reported": {"role": "veterinarian", "who": str(vet.pk)},
    }
    world.say(world.odile, "call_made", animal.pk, body)
    call = Call.objects.get()
    assert (call.examiner, call.by, call.role) == (vet.pk, world.odile.pk, "veterinarian")
    assert call.interested
    unknown = body | {"reported": {"role": "veterinarian", "who": str(new_id())}}
    assert refusal(world, world.odile, "call_made", animal.pk, unknown) == "out_of_range"


LAID = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}


def passing(**change: str) -> dict[str, object]:
    """A probing with one pass, changed."""
    one = {"side": "left", "depth": "8", "stopped": "resistance"} | change
    return {"observed": {"method": "probing", "passes": [one]}}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        (passing(depth="31"), "/body/observed/passes/0/depth"),
        (passing(depth="8.3"), "/body/observed/passes/0/depth"),
        (passing(side="up"), "/body/observed/passes/0/side"),
        ({"observed": {"method": "probing", "probe_mm": "0.1"}}, "/body/observed/probe_mm"),
        ({"observed": {"method": "divination"}}, "/body/observed/method"),
        ({"observed": LAID}, "/body/conclusion"),
        ({"conclusion": "hermaphrodite"}, "/body/conclusion"),
        ({"identified": {"by": "transponder"}}, "/body/identified/code"),
        ({"identified": {"by": "transponder", "code": "123"}}, "/body/identified/code"),
        ({"identified": {"by": "tag", "code": "A\x001"}}, "/body/identified/code"),
        ({"harm": ["scratched"]}, "/body/harm/0"),
        ({"note": "a" * 64}, "/body/note"),
        ({"mood": "calm"}, "/body"),
    ],
)  # fmt: skip
def test_impossible_observations_are_refused_with_their_place(
    world: World, change: dict[str, object], pointer: str
) -> None:
    animal = world.animal("A1")
    (outcome,) = world.push(
        world.odile, world.item("call_made", animal.pk, probing("male") | change)
    )
    assert outcome.problem is not None
    assert outcome.problem["errors"][0]["pointer"] == pointer
    assert not Call.objects.exists()


def test_whoever_once_kept_the_animal_is_never_blind_to_it(world: World) -> None:
    """The earlier keeper knows the record as it was, whoever holds the animal now."""
    from scalewitness.animals.services import create_collection

    animal = world.animal("A1")
    world.make_partner(world.pim)
    world.call(world.odile, animal, "female")
    elsewhere = create_collection(world.odile, new_id(), "Other room", world.now)
    world.say(world.odile, "custody_changed", animal.pk, {"to": str(elsewhere.pk), "why": "moved"})
    world.collection = elsewhere
    visit = world.visit(world.pim, animal)
    world.call(world.pim, animal, "female", visit=visit)
    assert Call.objects.get(by=world.pim.pk).blind is False


def test_a_check_made_before_the_animal_moved_is_taken(world: World) -> None:
    """Examined on the visit; the host then moved the animal to another room."""
    from scalewitness.animals.services import create_collection

    animal = world.animal("A1")
    visit = world.visit(world.greta, animal)
    examined = world.now + timedelta(hours=1)
    world.pass_time(hours=2)
    other = create_collection(world.odile, new_id(), "Other room", world.now)
    world.say(world.odile, "custody_changed", animal.pk, {"to": str(other.pk), "why": "moved"})
    assert world.call(world.greta, animal, "male", visit=visit, at=examined).status == "accepted"
    late = probing("male") | {"visit": str(visit)}
    world.pass_time(hours=1)
    assert refusal(world, world.greta, "call_made", animal.pk, late) == "not_found"


def test_a_former_partners_earlier_check_is_taken(world: World) -> None:
    animal = world.animal("A1")
    grant = world.make_partner(world.pim)
    examined = world.now + timedelta(hours=1)
    world.pass_time(hours=2)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    outcome = world.say(world.pim, "call_made", animal.pk, probing("male", "A1"), at=examined)
    assert outcome.status == "accepted"
    world.pass_time(hours=1)
    assert refusal(world, world.pim, "call_made", animal.pk, probing("male")) == "not_allowed"


@pytest.mark.parametrize("claimed", [timedelta(0), timedelta(days=20)])
def test_a_host_makes_no_check_void_by_making_its_guest_a_partner(
    world: World, claimed: timedelta
) -> None:
    """Whatever time the host claims for it: it needs nobody's acceptance, so it is no interest in
    what was checked before; and it opens nothing before the check is in, so that stays blind."""
    animal = world.animal("A1")
    world.call(world.odile, animal, "female")
    visit = world.visit(world.greta, animal)
    examined = world.now + timedelta(hours=1)
    world.pass_time(hours=2)
    grant = {"to": str(world.greta.pk), "role": "partner"}
    world.say(world.odile, "grant_given", world.collection.pk, grant, at=world.now - claimed)
    world.pass_time(hours=1)
    assert world.call(world.greta, animal, "male", visit=visit, at=examined).status == "accepted"
    call = Call.objects.get(by=world.greta.pk)
    assert (str(call.visit), call.interested, call.blind) == (str(visit), False, True)
    world.call(world.greta, animal, "male", visit=visit)
    later = Call.objects.filter(by=world.greta.pk).latest("position")
    assert later.interested, "by then she was a partner"


def test_an_id_stands_for_one_thing_only(world: World) -> None:
    """Else a stranger's fact would be filed under somebody's animal."""
    animal, other = world.animal("A1"), world.animal("A2")
    with pytest.raises(Refused) as error:
        world.say(
            world.odile,
            "visit_invited",
            animal.pk,
            {
                "collection": str(world.collection.pk),
                "guest": str(world.greta.pk),
                "animals": [str(other.pk)],
                "opens": rfc3339(world.now),
                "closes": rfc3339(world.now + timedelta(days=1)),
            },
        )
    assert error.value.as_problem()["code"] == "id_reused"
    registered = {"collection": str(world.collection.pk), "species": "python_regius"}
    code = refusal(world, world.odile, "animal_registered", world.collection.pk, registered)
    assert code == "id_reused"

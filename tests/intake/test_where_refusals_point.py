"""A refusal says which part of what was sent is meant: one table, written by hand."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.pictures import body_of, plain_file
from tests.signing import phone
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.errors import Refused
from scalewitness.domain.moments import rfc3339
from scalewitness.people.models import Keeper

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
Said = tuple[Keeper, str, UUID, dict[str, Any]]
"""Who states what, about what."""


def registered(world: World, **more: Any) -> Said:
    body = {"collection": str(world.collection.pk), "species": "python_regius"} | more
    return world.odile, "animal_registered", new_id(world.now), body


def corrected(world: World, **more: Any) -> Said:
    return (
        world.odile,
        "particulars_corrected",
        world.animal("A1").pk,
        {"species": "python_regius"} | more,
    )


def invited(world: World, **more: Any) -> Said:
    bare = registered(world)
    world.say(*bare)
    body = {
        "collection": str(world.collection.pk),
        "guest": str(world.greta.pk),
        "animals": [str(world.animal("A1").pk), str(bare[2]), str(world.animal("A2").pk)],
        "opens": rfc3339(world.now),
        "closes": rfc3339(world.now + timedelta(days=1)),
        "blind": True,
    }
    return world.odile, "visit_invited", new_id(world.now), body | more


def invited_without_scale_photo(world: World) -> Said:
    """A picture of its scales identifies an animal, and is no code that can be read."""
    one = invited(world)
    animals = one[3]["animals"]
    code = {"scheme": "scale_photo", "code": "rows 12 to 20"}
    world.say(world.odile, "identifier_assigned", UUID(animals[1]), code)
    return one


def invited_a_partner(world: World) -> Said:
    world.make_partner(world.greta)
    return invited(world)


def planned(world: World, **roles: Any) -> Said:
    body = {"sire": str(world.animal("M1").pk), "dam": str(world.animal("F1").pk), "season": 2027}
    return world.odile, "pairing_planned", new_id(world.now), body | roles


def planned_by_a_viewer(world: World) -> Said:
    _, kind, about, body = planned(world)
    given = {"to": str(world.greta.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", world.collection.pk, given)
    return world.greta, kind, about, body


def given(world: World, **more: Any) -> Said:
    body = {"to": str(world.pim.pk), "role": "viewer"} | more
    return world.odile, "grant_given", world.collection.pk, body


def moved(world: World) -> Said:
    body = {"to": str(new_id()), "why": "moved"}
    return world.odile, "custody_changed", world.animal("A1").pk, body


def disputed(world: World, **more: Any) -> Said:
    body = {"animal": str(world.animal("A1").pk), "ground": "party_objects"} | more
    return world.odile, "dispute_opened", new_id(world.now), body


def found(world: World, at: int) -> Said:
    """That a call is set aside which there is not; ``at``: its place among them."""
    _, kind, dispute, opened = disputed(world)
    world.say(world.odile, kind, dispute, opened)
    animal = UUID(opened["animal"])
    calls = [new_id() for _ in range(3)]
    body = probing("male")
    for number in range(at):
        calls[number] = UUID(world.say(world.odile, "call_made", animal, body).id)
    world.pass_time(days=1)
    guest, it = world.greta, Animal.objects.get(pk=animal)
    world.call(guest, it, "female", visit=world.visit(guest, it))
    finding = {
        "outcome": "call_set_aside",
        "set_aside": [str(one) for one in calls],
        "remedy": "none",
    }
    return world.odile, "finding_recorded", dispute, finding


def stranger() -> str:
    return str(new_id())


TABLE: list[tuple[str, Callable[[World], Said], str, str]] = [
    # what is stated; the code and the place of the refusal
    ("into no collection", lambda w: registered(w, collection=stranger()), "not_found",
     "/body/collection"),
    ("young of no sire", lambda w: registered(w, sire=stranger()), "out_of_range", "/body/sire"),
    ("young of no dam", lambda w: registered(w, dam=stranger()), "out_of_range", "/body/dam"),
    ("another sire", lambda w: corrected(w, sire=stranger()), "out_of_range", "/body/sire"),
    ("another dam", lambda w: corrected(w, dam=stranger()), "out_of_range", "/body/dam"),
    ("into no house", lambda w: invited(w, collection=stranger()), "not_found", "/body/collection"),
    ("no such guest", lambda w: invited(w, guest=stranger()), "out_of_range",
     "/body/guest"),
    ("oneself", lambda w: invited(w, guest=str(w.odile.pk)), "out_of_range",
     "/body/guest"),
    ("a partner", invited_a_partner, "out_of_range", "/body/guest"),
    ("to no animal", lambda w: invited(w, animals=[stranger()]), "out_of_range",
     "/body/animals"),
    ("without a code", lambda w: invited(w), "out_of_range", "/body/animals/1"),
    ("with a picture", invited_without_scale_photo, "out_of_range", "/body/animals/1"),
    ("no such male", lambda w: planned(w, sire=stranger()), "not_found", "/body/sire"),
    ("no such female", lambda w: planned(w, dam=stranger()), "not_found", "/body/dam"),
    ("neither kept", planned_by_a_viewer, "not_found", "/body/sire"),
    ("access for nobody", lambda w: given(w, to=stranger()), "out_of_range", "/body/to"),
    ("to no animals", lambda w: given(w, animals=[stranger()]), "out_of_range", "/body/animals"),
    ("to nowhere", moved, "not_allowed", "/body/to"),
    ("on another ground", lambda w: disputed(w, ground="contested_standing"), "out_of_range",
     "/body/ground"),
    ("for a cause", lambda w: disputed(w, cause=stranger()), "out_of_range", "/body/ground"),
    ("the first of three", lambda w: found(w, 0), "out_of_range", "/body/set_aside/0"),
    ("the second of three", lambda w: found(w, 1), "out_of_range", "/body/set_aside/1"),
    ("the third of three", lambda w: found(w, 2), "out_of_range", "/body/set_aside/2"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("stated", "code", "pointer"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE]
)
def test_where_a_refusal_points(
    world: World, stated: Callable[[World], Said], code: str, pointer: str
) -> None:
    said = stated(world)
    with pytest.raises(Refused) as error:
        world.say(*said)
    problem = error.value.as_problem()
    assert (problem["code"], problem["errors"][0]["pointer"]) == (code, pointer)


@pytest.mark.parametrize("kind", ["an animal", "a collection", "a sale", "a fact"])
@pytest.mark.parametrize("stated", [registered, invited, planned, disputed])
def test_an_id_that_stands_for_something_stands_for_nothing_else(
    world: World, kind: str, stated: Callable[[World], Said]
) -> None:
    animal = world.animal("T1")
    taken = {
        "an animal": animal.pk,
        "a collection": world.collection.pk,
        "a sale": world.draft(animal).pk,
        "a fact": UUID(world.call(world.odile, animal, "male").id),
    }[kind]
    who, kind_of_fact, _, body = stated(world)
    if "closes" in body:
        body |= {"animals": [str(animal.pk)]}
    with pytest.raises(Refused) as error:
        world.say(who, kind_of_fact, taken, body)
    problem = error.value.as_problem()
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("id_reused", "/about")


def test_where_a_device_is_refused(world: World) -> None:
    one, other = (phone(world, world.odile, enrolled=False) for _ in range(2))
    one.send(one.enrolment())
    other.key._private = one.key._private
    problem = other.send(other.enrolment()).problem
    assert problem is not None
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("out_of_range", "/body/key")
    said = {"device": str(other.device.pk), "key": other.key.public}
    bare = other.send(world.item("device_key_enrolled", world.odile.pk, said)).problem
    assert bare is not None
    assert (bare["code"], bare["errors"][0]["pointer"]) == ("bad_signature", "/sig")


@pytest.mark.parametrize("who", ["stan", "pim", "greta", "odile"])
def test_who_may_state_what_of_an_animal(world: World, who: str) -> None:
    """Odile keeps it, Pim is her partner, Greta her guest and Stan nobody."""
    animal = world.animal("A1")
    world.make_partner(world.pim)
    world.visit(world.greta, animal)
    weighed = {"noted": {"type": "weight", "grams": "1200.0"}}
    fed = {"noted": {"type": "meal", "taken": True}}
    steward = who in {"odile", "pim"}
    acts: list[tuple[str, dict[str, Any], str]] = [
        ("identifier_assigned", {"scheme": "tag", "code": "N2"}, "ok" if steward else "not_found"),
        ("particulars_corrected", {"species": "python_regius"}, "ok" if steward else "not_found"),
        ("photo_attached", body_of(plain_file()), "ok" if steward else "not_found"),
        ("husbandry_noted", weighed, "not_found" if who == "stan" else "ok"),
        (
            "husbandry_noted",
            fed,
            {"stan": "not_found", "greta": "not_allowed"}.get(who, "ok"),
        ),
        (
            "call_made",
            probing("male"),
            {"stan": "not_found", "greta": "wrong_shape"}.get(who, "ok"),
        ),
    ]
    for about, missing in ((animal.pk, False), (new_id(), True)):
        for kind, body, expected in acts:
            outcome = "not_found" if missing else expected
            try:
                world.say(getattr(world, who), kind, about, body)
                answer = "ok"
            except Refused as problem:
                answer = str(problem.as_problem()["code"])
            assert answer == outcome, (kind, missing)

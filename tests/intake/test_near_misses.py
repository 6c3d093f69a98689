"""What is only next to the right one, with an id before it or after it, is not the right one."""

from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.pictures import body_of, plain_file
from tests.signing import Phone, phone
from tests.world import World, keeper, new_id, probing

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import NotFound, NotTheFile, Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.services import accept_one
from scalewitness.people.models import Keeper
from scalewitness.people.services import name_practitioner
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.parametrize("side", ["before", "after"])]


@pytest.fixture
def others(db: None) -> dict[str, Keeper]:
    """Keepers by where their ids are: ``before`` the ``host``'s or ``after`` it."""
    made = sorted((keeper(f"Person {number}") for number in range(3)), key=lambda one: one.pk)
    return dict(zip(("before", "host", "after"), made, strict=True))


@pytest.fixture
def world(others: dict[str, Keeper]) -> World:
    """Odile is the one in the middle."""
    return World(odile=others["host"])


@pytest.fixture
def other(others: dict[str, Keeper], side: str) -> Keeper:
    return others[side]


def room_of(world: World, who: Keeper, side: str) -> Collection:
    """With an id on that side of the long room's."""
    off = timedelta(days=-1 if side == "before" else 1)
    return create_collection(who, new_id(world.now + off), "The other room", world.now)


def two(world: World, side: str) -> tuple[Animal, Animal]:
    """Two animals, the second on that side of the first."""
    first = world.animal("A1")
    world.pass_time(hours=1)
    second = world.animal("A2")
    return (first, second) if side == "after" else (second, first)


def refused(
    world: World, who: Keeper, kind: str, about: UUID, body: dict[str, Any] | None = None
) -> tuple[str, str | None]:
    """With which code, and where it points."""
    with pytest.raises(Refused) as error:
        world.say(who, kind, about, body)
    problem = error.value.as_problem()
    errors = problem.get("errors") or [{}]
    return str(problem["code"]), errors[0].get("pointer")


# --- calls ----------------------------------------------------------------------------------


def test_nobody_else_takes_a_call_back(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    world.make_partner(other)
    made = world.call(world.odile, animal, "male")
    assert refused(world, other, "call_withdrawn", animal.pk, {"call": made.id}) == (
        "not_found", None,
    )  # fmt: skip


def test_anybody_else_who_sees_it_objects_to_a_call(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    world.make_partner(other)
    made = world.call(world.odile, animal, "male")
    body = {"call": made.id, "ground": "other"}
    assert world.say(other, "call_objected", animal.pk, body).status == "accepted"


@pytest.mark.parametrize("kind", ["call_withdrawn", "call_objected"])
def test_no_call_on_another_animal_is_meant(world: World, side: str, kind: str) -> None:
    animal, other = two(world, side)
    made = world.call(world.odile, animal, "male")
    body = {"call": made.id} | ({"ground": "other"} if kind == "call_objected" else {})
    assert refused(world, world.odile, kind, other.pk, body) == ("not_found", None)


def test_a_held_call_is_decided_on_about_its_own_animal(world: World, side: str) -> None:
    animal, other = two(world, side)
    visit = world.visit(world.greta, animal, days=1)
    examined = world.now + timedelta(hours=1)
    world.pass_time(days=20)
    held = world.call(world.greta, animal, "male", visit=visit, at=examined)
    assert held.status == "held"
    body = {"held": held.id, "admitted": True}
    assert refused(world, world.odile, "late_call_decided", other.pk, body) == ("not_found", None)


def test_a_call_of_one_visit_is_not_covered_by_another(world: World, side: str) -> None:
    """Greta comes twice; what she names is the visit that must cover the check."""
    animal = world.animal("A1")
    first = world.visit(world.greta, animal, days=1)
    examined = {"before": world.now + timedelta(hours=1)}
    world.pass_time(days=3)
    second = world.visit(world.greta, animal, days=1)
    examined["after"] = world.now + timedelta(hours=1)
    world.pass_time(days=2)
    own, wrong = (first, second) if side == "before" else (second, first)
    body = probing("male") | {"visit": str(wrong)}
    with pytest.raises(Refused):
        world.say(world.greta, "call_made", animal.pk, body, at=examined[side])
    body["visit"] = str(own)
    made = world.say(world.greta, "call_made", animal.pk, body, at=examined[side])
    assert made.status == "accepted"


# --- reports --------------------------------------------------------------------------------


def test_a_report_is_confirmed_on_its_own_animal(world: World, side: str) -> None:
    animal, other = two(world, side)
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    made = world.call(world.odile, animal, "female", body={"observed": seen})
    world.view(world.stan, animal, other)
    body = {"call": made.id}
    assert refused(world, world.stan, "witness_stated", other.pk, body) == ("not_found", None)
    assert world.say(world.stan, "witness_stated", animal.pk, body).status == "accepted"


def test_another_document_was_read(world: World, side: str) -> None:
    animal = world.animal("A1")
    seen = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    body: dict[str, Any] = {"observed": seen, "document": "5" * 64}
    made = world.call(world.odile, animal, "female", body=body)
    world.view(world.stan, animal)
    read = {"call": made.id, "document": ("4" if side == "before" else "6") * 64}
    assert refused(world, world.stan, "document_read", animal.pk, read) == (
        "out_of_range", "/body/document",
    )  # fmt: skip


def test_somebody_elses_practice_is_not_reported_of(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    named = name_practitioner(other, new_id(world.now), "Dr Ilse Brandt")
    body = probing("male") | {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    assert refused(world, world.odile, "call_made", animal.pk, body) == (
        "out_of_range", "/body/reported/who",
    )  # fmt: skip


# --- moves ----------------------------------------------------------------------------------


def move(to: Collection, why: str, sale: Sale | None = None) -> dict[str, str]:
    return {"to": str(to.pk), "why": why} | ({"sale": str(sale.pk)} if sale else {})


def test_nobody_else_moves_an_animal(world: World, other: Keeper, side: str) -> None:
    animal, theirs = world.animal("A1"), room_of(world, other, side)
    world.make_partner(other)
    body = move(theirs, "moved")
    assert refused(world, other, "custody_changed", animal.pk, body) == ("not_found", None)


def test_an_animal_moves_to_any_other_room_of_its_keeper(world: World, side: str) -> None:
    animal, room = world.animal("A1"), room_of(world, world.odile, side)
    assert refused(
        world, world.odile, "custody_changed", animal.pk, move(world.collection, "moved")
    ) == ("not_allowed", "/body/to")
    world.say(world.odile, "custody_changed", animal.pk, move(room, "moved"))
    animal.refresh_from_db()
    assert animal.collection == room


def test_nothing_goes_back_to_a_room_of_somebody_else(
    world: World, other: Keeper, side: str
) -> None:
    animal, theirs = world.animal("A1"), room_of(world, other, side)
    body = move(theirs, "returned")
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_loan_goes_back_to_the_room_it_came_from(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    animal, wrong = world.animal("A1"), room_of(world, world.odile, side)
    borrower = others[side]
    theirs = create_collection(borrower, new_id(world.now), "Borrowed", world.now)
    let_in = {"to": str(world.odile.pk), "role": "partner"}
    world.say(borrower, "grant_given", theirs.pk, let_in)
    world.say(world.odile, "custody_changed", animal.pk, move(theirs, "loaned"))
    body = move(wrong, "returned")
    assert refused(world, borrower, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip
    world.say(borrower, "custody_changed", animal.pk, move(world.collection, "returned"))


def test_a_sold_animal_goes_to_its_buyer_and_nobody_else(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    """The buyer is the one in the middle of three."""
    seller = keeper("Seller")
    room = create_collection(seller, new_id(world.now), "The shop", world.now)
    world.collection, buyer, world.odile = room, others["host"], seller
    animal = world.verified("V1")
    sale = world.sold(animal, email=buyer.email)
    wrong = room_of(world, others[side], side)
    body = move(wrong, "sold", sale)
    assert refused(world, seller, "custody_changed", animal.pk, body) == ("not_allowed", "/body/to")
    theirs = room_of(world, buyer, side)
    world.say(seller, "custody_changed", animal.pk, move(theirs, "sold", sale))


def test_a_sold_animal_goes_from_the_room_it_was_sold_from(
    world: World, other: Keeper, side: str
) -> None:
    animal, back_room = world.verified("V1"), room_of(world, world.odile, side)
    sale = world.sold(animal, email=other.email)
    theirs = create_collection(other, new_id(world.now), "Theirs", world.now)
    world.say(world.odile, "custody_changed", animal.pk, move(back_room, "moved"))
    body = move(theirs, "sold", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_sold_animal_goes_back_to_the_room_it_was_sold_from(world: World, side: str) -> None:
    animal, wrong = world.verified("V1"), room_of(world, world.odile, side)
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    body = move(wrong, "returned", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


def test_a_sale_of_another_animal_moves_nothing(world: World, other: Keeper, side: str) -> None:
    animal, sold = two(world, side)
    sale = world.sold(sold, email=other.email)
    theirs = room_of(world, other, side)
    body = move(theirs, "sold", sale)
    assert refused(world, world.odile, "custody_changed", animal.pk, body) == (
        "not_allowed", "/body/to",
    )  # fmt: skip


# --- access ---------------------------------------------------------------------------------


def test_access_is_ended_in_the_collection_it_was_given_in(world: World, side: str) -> None:
    grant, room = world.make_partner(world.pim), room_of(world, world.odile, side)
    body = {"grant": str(grant)}
    assert refused(world, world.odile, "grant_revoked", room.pk, body) == ("not_found", None)
    world.say(world.odile, "grant_revoked", world.collection.pk, body)
    assert refused(world, world.odile, "grant_revoked", world.collection.pk, body) == (
        "not_now", None,
    )  # fmt: skip


def test_access_is_given_back_by_whoever_has_it_and_by_nobody_else(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    """The collection is Stan's, the one in the middle his partner."""
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    given = {"to": str(others["host"].pk), "role": "partner"}
    body = {"grant": world.say(world.stan, "grant_given", room.pk, given).id}
    assert refused(world, others[side], "grant_revoked", room.pk, body) == ("not_found", None)
    assert world.say(others["host"], "grant_revoked", room.pk, body).status == "accepted"


def test_only_the_keeper_of_a_collection_gives_access_to_it(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    body = {"to": str(world.stan.pk), "role": "viewer"}
    for who in (others[side], world.greta):
        assert refused(world, who, "grant_given", world.collection.pk, body) == ("not_found", None)
    world.make_partner(others[side])
    assert refused(world, others[side], "grant_given", world.collection.pk, body) == (
        "not_found", None,
    )  # fmt: skip
    assert refused(world, world.odile, "grant_given", new_id(), body) == ("not_found", None)


def test_everyone_but_the_keeper_can_be_given_access(world: World, other: Keeper) -> None:
    body = {"to": str(other.pk), "role": "viewer"}
    assert world.say(world.odile, "grant_given", world.collection.pk, body).status == "accepted"
    body["to"] = str(world.odile.pk)
    assert refused(world, world.odile, "grant_given", world.collection.pk, body) == (
        "out_of_range", "/body/to",
    )  # fmt: skip


def test_access_is_given_to_animals_of_the_collection(world: World, side: str) -> None:
    here, room = world.animal("A1"), room_of(world, world.odile, side)
    there = world.animal("A2", room=room)
    for animals in ([here.pk, there.pk], [there.pk], [new_id()]):
        body = {"to": str(world.pim.pk), "role": "viewer", "animals": list(map(str, animals))}
        assert refused(world, world.odile, "grant_given", world.collection.pk, body) == (
            "out_of_range", "/body/animals",
        )  # fmt: skip


def test_an_invitation_is_answered_by_whoever_was_invited(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    world.odile, host = world.stan, others["host"]
    world.collection = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    visit = world.invite(host, world.animal("A1"))
    for kind in ("visit_accepted", "visit_declined"):
        assert refused(world, others[side], kind, visit) == ("not_found", None)
    world.say(host, "visit_declined", visit)
    assert refused(world, host, "visit_accepted", visit) == ("not_now", None)


# --- devices --------------------------------------------------------------------------------


def test_a_key_is_enrolled_by_the_device_that_holds_it(world: World, side: str) -> None:
    phones = [phone(world, world.odile, enrolled=False) for _ in range(2)]
    first, second = sorted(phones, key=lambda one: one.device.pk)
    one, other = (first, second) if side == "after" else (second, first)
    assert answer(one, one.enrolment(device=str(other.device.pk))) == ("not_allowed", None)


@pytest.mark.parametrize("kind", ["device_key_enrolled", "device_revoked"])
def test_what_is_said_of_a_device_is_about_its_keeper(
    world: World, other: Keeper, kind: str
) -> None:
    one = phone(world, world.odile, enrolled=kind == "device_revoked")
    said = {"device": str(one.device.pk)}
    if kind == "device_key_enrolled":
        said["key"] = one.key.public
    item = one.key.signed(world.item(kind, other.pk, said))
    assert answer(one, item) == ("not_found", None)


def answer(one: Phone, item: dict[str, Any]) -> tuple[str, str | None]:
    problem = one.send(item).problem
    assert problem is not None
    errors = problem.get("errors") or [{}]
    return str(problem["code"]), errors[0].get("pointer")


# --- photos ---------------------------------------------------------------------------------


def test_a_photo_shows_a_call_of_ones_own(world: World, other: Keeper) -> None:
    animal = world.animal("A1")
    world.make_partner(other)
    made = world.call(world.odile, animal, "male")
    body = body_of(plain_file(), made.id)
    assert refused(world, other, "photo_attached", animal.pk, body) == ("not_found", None)


def test_a_photo_shows_a_call_on_its_own_animal(world: World, side: str) -> None:
    animal, other = two(world, side)
    made = world.call(world.odile, animal, "male")
    body = body_of(plain_file(), made.id)
    assert refused(world, world.odile, "photo_attached", other.pk, body) == ("not_found", None)


def test_the_file_comes_from_whoever_attached_the_photo(world: World, other: Keeper) -> None:
    animal, data = world.animal("A1"), plain_file()
    world.make_partner(other)
    photo = world.say(world.odile, "photo_attached", animal.pk, body_of(data))
    with pytest.raises(NotFound):
        take_photo_file(UUID(photo.id), data, Actor(keeper=other.pk), world.now)
    take_photo_file(UUID(photo.id), data, Actor(keeper=world.odile.pk), world.now)


def test_the_file_has_the_size_and_the_fingerprint_that_were_said(world: World, side: str) -> None:
    animal, data = world.animal("A1"), plain_file()
    step = -1 if side == "before" else 1
    said = body_of(data)
    fingerprint = f"{(int(said['sha256'], 16) + step) % 2**256:064x}"
    for wrong in ({"size": said["size"] + step}, {"sha256": fingerprint}):
        photo = world.say(world.odile, "photo_attached", animal.pk, said | wrong)
        with pytest.raises(NotTheFile, match="another file's fingerprint"):
            take_photo_file(UUID(photo.id), data, Actor(keeper=world.odile.pk), world.now)


# --- parents --------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["sire", "dam"])
def test_a_linkage_names_the_parents_on_record(world: World, side: str, role: str) -> None:
    parent, wrong = two(world, side)
    mate = world.animal("A3")
    roles = {"sire": mate, "dam": mate} | {role: parent}
    young = world.animal("Y1", **{name: str(one.pk) for name, one in roles.items()})
    body = {
        "trait": "coral_glow",
        "shows": "one_copy",
        "sire_copies": 1,
        "dam_copies": 0,
        "beside": "Y",
        "recombination": "0.050000",
        "provenance": "keepers_speak_of",
    } | {name: str(one.pk) for name, one in roles.items()}
    body[role] = str(wrong.pk)
    assert refused(world, world.odile, "linkage_stated", young.pk, body) == (
        "out_of_range", f"/body/{role}",
    )  # fmt: skip


# --- sales ----------------------------------------------------------------------------------


def beside(id: UUID, side: str) -> str:
    """The id next to it."""
    return str(UUID(int=id.int + (-1 if side == "before" else 1)))


@pytest.mark.parametrize("party", ["buyer", "collection"])
def test_an_offer_names_the_parties_of_its_sale(world: World, side: str, party: str) -> None:
    sale = world.draft(world.verified("V1"))
    wrong = beside(sale.buyer_id if party == "buyer" else sale.collection_id, side)
    with pytest.raises(Refused) as error:
        world.offer(sale, **{party: wrong})
    problem = error.value.as_problem()
    assert (problem["code"], problem["errors"][0]["pointer"]) == ("out_of_range", "/body/buyer")


def test_only_the_offer_in_force_is_confirmed(world: World, side: str) -> None:
    sale = world.draft(world.verified("V1"))
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    with pytest.raises(Refused) as error:
        world.confirm(sale, beside(UUID(offer.id), side), offer.position)
    problem = error.value.as_problem()
    assert (problem["code"], problem["new_offer"]) == ("standing_moved", offer.id)


@pytest.mark.parametrize("wrong", ["buyer", "sale"])
def test_a_link_confirms_its_own_sale_for_its_own_buyer(
    world: World, side: str, wrong: str
) -> None:
    sale = world.draft(world.verified("V1"))
    offer = world.offer(sale)
    ids = {"buyer": sale.buyer_id, "sale": sale.pk}
    ids[wrong] = UUID(beside(ids[wrong], side))
    item = world.item("sale_confirmed", sale.pk, {"offer": offer.id, "seen": offer.position})
    with pytest.raises(Refused) as error:
        accept_one(item, Actor(**ids), world.now)
    assert error.value.as_problem()["code"] == "not_found"


def test_a_keeper_confirms_what_they_buy_and_nobody_else_does(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    seller = keeper("Seller")
    world.collection = create_collection(seller, new_id(world.now), "The shop", world.now)
    buyer, world.odile = others["host"], seller
    sale = world.draft(world.verified("V1"), email=buyer.email)
    offer = world.offer(sale)
    body = {"offer": offer.id, "seen": offer.position}
    assert refused(world, others[side], "sale_confirmed", sale.pk, body) == ("not_found", None)
    world.say(buyer, "sale_confirmed", sale.pk, body)
    assert progress_of(Sale.objects.get(pk=sale.pk)).state == "confirmed"


def test_an_animal_is_in_one_live_sale_whichever_was_drafted_first(world: World, side: str) -> None:
    animal = world.verified("V1")
    first = world.draft(animal)
    world.pass_time(hours=1)
    second = world.draft(animal, email="other@buyers.example")
    live, refused_now = (first, second) if side == "before" else (second, first)
    world.offer(live)
    world.offer(live)
    with pytest.raises(Refused, match="already in another sale"):
        world.offer(refused_now)


def test_what_an_earlier_keeper_sold_keeps_nobody_from_selling_on(
    world: World, other: Keeper, side: str
) -> None:
    """Their sale goes on from the room it was made in, whichever side of this one that is."""
    animal, theirs = world.verified("V1"), room_of(world, other, side)
    sale = world.sold(animal, email=other.email)
    world.say(world.odile, "handed_over", sale.pk)
    world.say(world.odile, "custody_changed", animal.pk, move(theirs, "sold", sale))
    world.odile, world.collection = other, theirs
    assert world.offer(world.draft(animal, email="next@buyers.example")).status == "accepted"


def test_an_offer_says_of_each_animal_what_the_record_says_and_once(
    world: World, side: str
) -> None:
    pair = two(world, side)
    stranger = world.animal("A3")
    one, other, third = (
        {
            "animal": str(animal.pk),
            "label": "unsexed",
            "p_male": "0.500000",
            "p_male_pessimistic": "0.500000",
            "position": 0,
        }
        for animal in (*pair, stranger)
    )
    sale = world.draft(*pair)
    for represents in ([one], [other], [one, third], [one, other, third], [one, other, one]):
        with pytest.raises(Refused) as error:
            world.offer(sale, represents=represents)
        problem = error.value.as_problem()
        assert (problem["code"], problem["errors"][0]["pointer"]) == (
            "out_of_range", "/body/represents",
        )  # fmt: skip
    assert world.offer(sale, represents=[other, one]).status == "accepted"

"""What is only next to the right one is not the right one: access, devices, photos, parents and
sales."""

from typing import Any
from uuid import UUID

import pytest
from tests.intake.near_misses.conftest import move, refused, room_of, two
from tests.pictures import body_of, plain_file
from tests.signing import Phone, phone
from tests.world import World, keeper, new_id

from scalewitness.animals.services import create_collection
from scalewitness.domain.errors import NotFound, NotTheFile, Refused
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.intake.services import accept_one
from scalewitness.people.models import Keeper
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of

pytestmark = [pytest.mark.django_db, pytest.mark.parametrize("side", ["before", "after"])]


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
    world.offer(sale)
    ids = {"buyer": sale.buyer_id, "sale": sale.pk}
    ids[wrong] = UUID(beside(ids[wrong], side))
    item = world.item("sale_confirmed", sale.pk, world.look(sale))
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
    world.offer(sale)
    body = world.look(sale)
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

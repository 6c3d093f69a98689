"""Who may read which entry of the log, told apart from those whose ids are next to theirs; and
what a buyer's link shows of it."""

from uuid import UUID

import pytest
from tests.api.test_receipts import tamper
from tests.intake.near_misses.conftest import other, others, world
from tests.learned import LITTLE, put_in_force
from tests.pictures import body_of, plain_file
from tests.signing import phone
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.calls.queries.visibility import Point, sights_at
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.errors import LogContradicted, NotFound
from scalewitness.domain.sexing.parameters import CURRENT
from scalewitness.intake.statements import adopt_policy
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import entries_about
from scalewitness.people.models import Keeper
from scalewitness.receipts.by_link import entry_shown, photo_shown
from scalewitness.receipts.queries import entry_seen, readable, withheld
from scalewitness.sales.models import OfferLink, Sale

pytestmark = pytest.mark.django_db
sides = pytest.mark.parametrize("side", ["before", "after"])
__all__ = ["other", "others", "world"]


def reads(world: World, who: Keeper, fact: UUID | str) -> bool:
    try:
        return entry_seen(who.pk, UUID(str(fact)), world.now).fact == UUID(str(fact))
    except NotFound:
        return False


def facts(kind: str) -> list[UUID]:
    rows = Entry.objects.filter(kind=kind).order_by("position")
    return list(rows.values_list("fact", flat=True))


@sides
def test_a_devices_key_is_its_keepers(world: World, other: Keeper) -> None:
    one = phone(world, world.odile)
    one.send(one.revocation())
    for kind in ("device_key_enrolled", "device_revoked"):
        (fact,) = facts(kind)
        assert reads(world, world.odile, fact)
        assert not reads(world, other, fact)


@sides
def test_access_is_read_of_by_whoever_gave_it_and_whoever_had_it(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    """Stan gives it to the one in the middle, and takes it back; a partner of his reads no such
    thing."""
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    for who, role in ((world.pim, "partner"), (others["host"], "viewer")):
        body = {"to": str(who.pk), "role": role}
        made = world.say(world.stan, "grant_given", room.pk, body)
    ended = world.say(world.stan, "grant_revoked", room.pk, {"grant": made.id})
    for fact in (made.id, ended.id):
        assert fact is not None
        assert reads(world, others["host"], fact)
        assert reads(world, world.stan, fact)
        assert not reads(world, others[side], fact)
        assert not reads(world, world.pim, fact)


@sides
def test_an_invitation_is_read_by_host_partner_and_guest(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    world.odile, guest = world.stan, others["host"]
    world.collection = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    world.make_partner(world.pim)
    visit = world.visit(guest, world.animal("A1"))
    for fact in Entry.objects.filter(about=visit).values_list("fact", flat=True):
        assert [reads(world, who, fact) for who in (guest, world.stan, world.pim)] == [True] * 3
        assert not reads(world, others[side], fact)


@sides
def test_a_disclosure_is_read_by_both_sides_of_its_sale(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    world.odile, buyer = world.stan, others["host"]
    world.collection = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    animal = world.verified("V1")
    sale = world.sold(animal, email=buyer.email)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    (owed,) = facts("disclosure_owed")
    assert [reads(world, who, owed) for who in (buyer, world.stan, others[side])] == [
        True, True, False,
    ]  # fmt: skip
    for fact in sale.steps.values_list("pk", flat=True):
        assert [reads(world, who, fact) for who in (world.stan, others[side], world.pim)] == [
            True, str(fact) in said_by(others[side]), False,
        ]  # fmt: skip
    opened = Dispute.objects.get()
    (fact,) = facts("dispute_opened")
    assert not reads(world, others[side], fact)
    world.view(others[side], animal)
    assert reads(world, others[side], fact), "whoever sees the animal whole"
    assert opened.sale == sale


def said_by(who: Keeper) -> set[str]:
    return {str(one) for one in Entry.objects.filter(by=who.pk).values_list("fact", flat=True)}


@sides
def test_what_names_a_parent_one_is_blind_to_is_withheld_unless_one_stated_it(
    world: World, others: dict[str, Keeper], side: str
) -> None:
    """Both were Stan's partners and named the dam; the one in the middle now visits her blind."""
    world.odile = world.stan
    world.collection = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    dam, young = world.animal("D1"), world.animal("Y1")
    named = {"species": "python_regius", "dam": str(dam.pk)}
    made = {}
    for name in ("host", side):
        grant = world.make_partner(others[name])
        made[name] = world.say(others[name], "particulars_corrected", young.pk, named).id
        body = {"grant": str(grant)}
        world.say(world.stan, "grant_revoked", world.collection.pk, body)
    guest = others["host"]
    world.view(guest, young)
    visit = world.visit(guest, dam)
    entries = entries_about(young.pk)
    assert withheld(guest.pk, young, entries, world.now) == {UUID(str(made[side]))}
    assert reads(world, guest, str(made["host"]))
    assert not reads(world, guest, str(made[side]))
    world.call(guest, dam, "female", visit=visit)
    assert withheld(guest.pk, young, entries, world.now) == set()
    assert reads(world, guest, str(made[side]))


def test_nobody_reads_of_examiners_and_policies_by_a_receipt(world: World) -> None:
    animal = world.verified("V1")
    adopt_policy("policy-2", CURRENT, {}, world.now)
    put_in_force(world, LITTLE)
    kinds = {"policy_adopted", "examiner_record_changed", "origin_succeeded", "numbers_adopted"}
    of_the_record = Entry.objects.filter(kind__in=kinds)
    assert of_the_record.count() >= 2
    assert not any(reads(world, world.odile, one.fact) for one in of_the_record)
    assert not reads(world, world.odile, new_id())
    assert readable(world.odile.pk, [], world.now) == set()
    every = list(Entry.objects.filter(about=animal.pk))
    assert readable(world.odile.pk, every, world.now) == {one.position for one in every}


@pytest.mark.parametrize("leaf", ['{"sire":', '{"sire": "x"}', '{"sire":"x"}'])
def test_an_entry_that_is_none_any_more_is_said_to_be(world: World, leaf: str) -> None:
    """No JSON, not in its one spelling, or no entry."""
    animal = world.animal("A1")
    world.view(world.greta, animal)
    fact = facts("animal_registered")[0]
    tamper("ledger_entry", f"leaf = '{leaf}' WHERE fact = '{fact}'")
    with pytest.raises(LogContradicted):
        entry_seen(world.greta.pk, fact, world.now)


# --- what a link shows ------------------------------------------------------------------------


def shows(link: OfferLink, fact: UUID | str) -> bool:
    try:
        return entry_shown(link, UUID(str(fact))).fact == UUID(str(fact))
    except NotFound:
        return False


def link_of(sale: Sale, purpose: str) -> OfferLink:
    return OfferLink.objects.filter(sale=sale, purpose=purpose).order_by("-pk")[0]


def standings(animal: Animal) -> list[UUID]:
    return list(animal.standings.order_by("position").values_list("pk", flat=True))


def agree(world: World, animal: Animal) -> None:
    world.pass_time(days=1)
    guest = keeper(f"Agreeing {world.now.day}")
    world.call(guest, animal, "male", visit=world.visit(guest, animal))


def test_an_offers_link_shows_the_standings_offered_on_and_the_one_in_force(world: World) -> None:
    animal = world.verified("V1")
    sale = world.draft(animal)
    before = standings(animal)
    world.offer(sale)
    agree(world, animal)
    agree(world, animal)
    offered, between, now = before[-1], *standings(animal)[len(before) :]
    link = link_of(sale, "offer")
    assert [shows(link, one) for one in (before[0], offered, between, now)] == [
        False, True, False, True,
    ]  # fmt: skip
    world.offer(sale)
    agree(world, animal)
    newest, link = standings(animal)[-1], link_of(sale, "offer")
    assert [shows(link, one) for one in (offered, between, now, newest)] == [
        True, False, True, True,
    ]  # fmt: skip


def test_a_disclosures_link_shows_the_standings_it_tells_of(world: World) -> None:
    animal = world.verified("V1")
    sale = world.sold(animal)
    visit = world.visit(world.greta, animal)
    world.pass_time(days=1)
    world.call(world.greta, animal, "female", visit=visit)
    fallen = standings(animal)[-1]
    agree(world, animal)
    owed = Disclosure.objects.order_by("position")[0]
    (fact,) = facts("disclosure_owed")[:1]
    later, link = link_of(sale, "disclosure"), link_of(sale, "offer")
    assert owed.now["position"] == animal.standings.get(pk=fallen).position
    assert (shows(later, fallen), shows(later, fact)) == (True, True)
    assert (shows(link, fallen), shows(link, fact)) == (False, False)


@sides
def test_a_link_shows_nothing_of_another_sale(world: World, side: str) -> None:
    sold = [world.verified("V1"), world.verified("V2")]
    if side == "before":
        sold.reverse()
    mine, theirs = (world.sold(one, email=f"{n}@buyers.example") for n, one in enumerate(sold))
    for animal in sold:
        world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    photos = [
        world.say(world.odile, "photo_attached", one.pk, body_of(plain_file())).id for one in sold
    ]
    link = link_of(mine, "disclosure")
    for sale, animal, photo in zip((mine, theirs), sold, photos, strict=True):
        own = sale == mine
        owed = Disclosure.objects.get(sale=sale)
        fact = Entry.objects.get(position=owed.position).fact
        call, offer = animal.calls.all()[0].pk, sale.steps.get(kind="offer_made").pk
        for one in (fact, call, offer, photo, standings(animal)[-1]):
            assert shows(link, str(one)) == own
    assert photo_shown(link, UUID(str(photos[0]))) == UUID(str(photos[0]))
    for wrong in (photos[1], sold[0].calls.all()[0].pk, new_id()):
        with pytest.raises(NotFound):
            photo_shown(link, UUID(str(wrong)))
    registered = Entry.objects.get(about=sold[0].pk, kind="animal_registered").fact
    assert not shows(link, registered)


def test_what_could_be_seen_before_an_animal_moved_is_known_after_it(world: World) -> None:
    """As a client that was away asks for it: by the room that it was in then."""
    animal = world.animal("A1")
    room = create_collection(world.odile, new_id(world.now), "The other room", world.now)
    world.view(world.greta, animal)
    given = {"to": str(world.stan.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", room.pk, given)
    before = Point(Entry.objects.count(), world.now)
    world.pass_time(days=1)
    moved = {"to": str(room.pk), "why": "moved"}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    after = Point(Entry.objects.count(), world.now)
    seen = {
        name: [sights_at(who.pk, [animal.pk], point).get(animal.pk) for point in (before, after)]
        for name, who in (("odile", world.odile), ("greta", world.greta), ("stan", world.stan))
    }
    assert seen == {"odile": ["all", "all"], "greta": ["all", None], "stan": [None, "all"]}

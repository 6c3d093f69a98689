"""What each letter holds, to whom it goes and what it leads to: by hand, letter by letter."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from tests.intake.test_letters_owed import Scene, answer, find, object_to_it, say, scene, state
from tests.intake.test_pairings import plan
from tests.world import World, new_id

from scalewitness.animals.services import create_collection
from scalewitness.disputes.models import Dispute
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.queries import replaced_by
from scalewitness.sales.models import OfferLink

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]
__all__ = ["scene"]
MOMENT = timedelta(milliseconds=1)


def described(animal: Any, name: str = "") -> dict[str, Any]:
    return {
        "name": name,
        "species": "ball python",
        "scientific": "Python regius",
        "identifiers": [{"scheme": "tag", "code": animal.identifiers.get().code}],
        "id": str(animal.pk),
    }


def about(scene: Scene, to: str = "Bela Novak") -> dict[str, Any]:
    return {
        "sale": str(scene.sale.pk),
        "to_name": to,
        "buyer_name": "Bela Novak",
        "seller_name": "Odile Marten",
        "animals": [described(scene.animal)],
    }


def last(kind: str) -> Entry:
    return Entry.objects.filter(kind=kind).order_by("-position")[0]


@pytest.mark.parametrize(
    ("before", "event", "to"),
    [
        ([Scene.offer], answer("offer_declined"), "Odile Marten"),
        ([Scene.offer], answer("check_requested"), "Odile Marten"),
        ([Scene.offer], Scene.confirm, "Odile Marten"),
        ([Scene.offer], say("offer_withdrawn"), "Bela Novak"),
        ([Scene.offer, Scene.confirm], say("payment_recorded"), "Bela Novak"),
        ([Scene.sell], say("handed_over"), "Bela Novak"),
    ],
)
def test_what_the_letter_of_a_step_holds(
    scene: Scene, before: list[Callable[[Scene], None]], event: Callable[[Scene], None], to: str
) -> None:
    for one in before:
        one(scene)
    Letter.objects.all().delete()
    event(scene)
    (letter,) = Letter.objects.all()
    fact = last(letter.kind).fact
    more: dict[str, Any] = {"receipt": str(fact)} if to == "Odile Marten" else {}
    if letter.kind in {"payment_recorded", "handed_over"}:
        links = OfferLink.objects.filter(purpose="disclosure", sale=scene.sale, revoked_at=None)
        more = {"link": letter.context["link"]}  # of several made at one moment, any
        assert UUID(more["link"]) in set(links.values_list("pk", flat=True))
    assert letter.cause == fact
    assert letter.context == about(scene, to) | more


def test_what_the_letters_of_a_hold_say(scene: Scene) -> None:
    scene.offer()
    scene.accept_visit()
    Letter.objects.all().delete()
    scene.fall()
    moved = {"was": "verified male", "now": "contested", "animal": described(scene.animal)}
    for kind, to in (("sale_held", "Bela Novak"), ("sale_held_seller", "Odile Marten")):
        letter = Letter.objects.get(kind=kind)
        assert letter.cause == last("sale_held").fact
        assert letter.context == about(scene, to) | moved


def test_animals_of_a_sale_come_in_the_order_of_their_ids(world: World) -> None:
    animals = []
    for number in range(4):
        animals.append(world.animal(f"A{number}"))
        world.pass_time(hours=1)
    sale = world.draft(*reversed(animals))
    world.offer(sale)
    offer = Letter.objects.get(kind="offer")
    ids = [str(one.pk) for one in animals]
    assert [one["id"] for one in offer.context["animals"]] == ids
    assert [one["animal"]["id"] for one in offer.context["represents"]] == ids
    assert {(one["label"], one["p_male"]) for one in offer.context["represents"]} == {
        ("unsexed", "0.500000"),
    }  # fmt: skip


def test_one_letter_for_each_sale_and_animal_that_fell(world: World) -> None:
    """Two animals in one sale fall and rise: each letter joins that of its own animal."""
    animals = [world.verified("V1"), world.verified("V2")]
    sale = world.draft(*animals)
    world.pay(sale)
    world.pass_time(days=1)
    visit = world.visit(world.greta, *animals)
    for animal in animals:
        world.call(world.greta, animal, "female", visit=visit)
    call = animals[1].calls.get(by=world.greta.pk)
    world.say(world.greta, "call_withdrawn", animals[1].pk, {"call": str(call.pk)})
    letters = Letter.objects.filter(kind="disclosure").exclude(state="joined")
    told = {one.context["animal"]["id"]: one for one in letters}
    assert set(told) == {str(one.pk) for one in animals}
    first, second = (told[str(one.pk)] for one in animals)
    assert (first.context["change"], replaced_by(first)) == ("fell", [])
    assert second.context["change"] == "restored"
    assert [one.context["change"] for one in replaced_by(second)] == ["fell"]


def test_identifiers_come_as_they_were_assigned(world: World) -> None:
    animal = world.animal("A1")
    for scheme, code in (("transponder", "276098100000001"), ("tag", "A0")):
        said = {"scheme": scheme, "code": code}
        world.say(world.odile, "identifier_assigned", animal.pk, said)
    world.offer(world.draft(animal))
    (told,) = Letter.objects.get(kind="offer").context["animals"]
    assert [one["code"] for one in told["identifiers"]] == ["A1", "276098100000001", "A0"]


def test_whoever_is_concerned_hears_once_and_reads_the_name_if_they_keep_it(scene: Scene) -> None:
    """Odile sold it from another room of hers; now Stan keeps it, with Pim."""
    world, animal = scene.world, scene.animal
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    sale = world.draft(animal, email=world.stan.email)
    world.pay(sale)
    world.say(world.odile, "handed_over", sale.pk)
    moved = {"to": str(room.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    animal.refresh_from_db()
    animal.name, animal._history_user, animal._history_date = "Basil", world.stan, world.now
    animal.save()
    let_in = {"to": str(world.pim.pk), "role": "partner"}
    world.say(world.stan, "grant_given", room.pk, let_in)
    Letter.objects.all().delete()
    opened = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.stan, "dispute_opened", new_id(world.now), opened)
    dispute = Dispute.objects.get()
    told = {one.context["to_name"]: one for one in Letter.objects.filter(kind="dispute_opened")}
    assert set(told) == {"Odile Marten", "Pim Alder", "Stan Okoro"}
    assert Letter.objects.count() == 3
    for name, letter in told.items():
        sold = name == "Odile Marten"
        more = {"sale": str(sale.pk)} if sold else {}
        assert letter.context == {
            "to_name": name,
            "animal": described(animal, "" if sold else "Basil"),
            "ground": "party_objects",
            "dispute": None if sold else str(dispute.pk),
            **more,
        }
        assert letter.cause == dispute.pk


def test_what_is_told_of_a_dispute(scene: Scene) -> None:
    scene.sell()
    scene.fall()
    Letter.objects.all().delete()
    state(scene)
    stated, to_buyer = Letter.objects.order_by("kind")
    assert to_buyer.context == about(scene) | {
        "animal": described(scene.animal),
        "stated_by": "the seller",
        "words_of": str(last("statement_made").fact),
        "link": to_buyer.context["link"],
    }
    assert (stated.to, stated.cause) == (scene.world.pim.email, last("statement_made").fact)
    assert stated.context == {
        "to_name": "Pim Alder",
        "animal": described(scene.animal),
        "dispute": str(scene.dispute().pk),
        "stated_by": "the seller",
    }
    find(scene)
    found = Letter.objects.get(kind="finding")
    assert found.cause == last("finding_recorded").fact
    assert found.context == about(scene) | {
        "animal": described(scene.animal),
        "outcome": "It cannot be settled on what is known",
        "remedy_found": "none",
        "word": "The seller says that it is their own word.",
        "recorder": "seller",
        "answered": False,
        "asked": True,
        "would_set_aside": 0,
        "words_of": str(last("finding_recorded").fact),
        "link": found.context["link"],
    }


def test_of_a_dispute_without_a_sale_no_buyer_hears(scene: Scene) -> None:
    scene.offer()
    object_to_it(scene)
    Letter.objects.all().delete()
    find(scene)
    assert not Letter.objects.exists()


def test_what_an_invitation_says(world: World) -> None:
    animals = [world.animal("A1"), world.animal("A2")]
    visit = world.invite(world.greta, *animals, blind=False, days=2)
    letter = Letter.objects.get()
    assert (letter.kind, letter.cause, letter.to) == (
        "visit_invitation", visit, world.greta.email,
    )  # fmt: skip
    assert letter.context == {
        "to_name": "Greta Lund",
        "host_name": "Odile Marten",
        "opens": world.now.isoformat(),
        "closes": (world.now + timedelta(days=2)).isoformat(),
        "blind": False,
        "count": 2,
        "visit": str(visit),
    }


def test_all_that_was_owed_before_a_letter_left_is_told_in_it_in_order(scene: Scene) -> None:
    scene.sell()
    scene.fall()
    scene.rise()
    scene.world.pass_time(days=1)
    world = scene.world
    world.call(world.stan, scene.animal, "female", visit=world.visit(world.stan, scene.animal))
    letter = Letter.objects.get(kind="disclosure", state="waiting")
    assert letter.context["change"] == "fell"
    earlier = [one.context for one in replaced_by(letter)]
    assert [one["change"] for one in earlier] == ["fell", "restored"]
    assert earlier[0]["position"] < earlier[1]["position"] < letter.context["position"]


def test_whoever_keeps_both_reads_the_names_of_a_pairing(scene: Scene) -> None:
    world, mate = scene.world, scene.world.animal("M1")
    for animal, name in ((scene.animal, "Basil"), (mate, "Dill")):
        animal.name, animal._history_user, animal._history_date = name, world.odile, world.now
        animal.save()
    plan(world, world.odile, scene.animal, mate)
    scene.fall()
    letter = Letter.objects.get(kind="pairing_affected", to=world.odile.email)
    assert letter.context["animal"] == described(scene.animal, "Basil")
    assert letter.context["pairings"][0]["mate"] == described(mate, "Dill")


@pytest.mark.parametrize("role", ["sire", "dam"])
@pytest.mark.parametrize("side", ["before", "after"])
def test_whoever_planned_with_an_animal_hears_that_it_ended(
    world: World, role: str, side: str
) -> None:
    """Stan keeps the mate, whichever of the two is the older."""
    own = world.animal("A1") if side == "after" else None
    world.pass_time(hours=1)
    room = create_collection(world.stan, new_id(world.now), "Stan's", world.now)
    mate = world.animal("S1", room=room)
    world.pass_time(hours=1)
    own = own or world.animal("A1")
    let_in = {"to": str(world.odile.pk), "role": "viewer"}
    world.say(world.stan, "grant_given", room.pk, let_in)
    pair = {"sire": str(own.pk), "dam": str(mate.pk), "season": 2027}
    if role == "dam":
        pair |= {"sire": str(mate.pk), "dam": str(own.pk)}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    world.say(world.odile, "animal_ended", own.pk, {"why": "died"})
    letter = Letter.objects.get(kind="animal_ended")
    assert (letter.to, letter.recipient) == (world.stan.email, world.stan.pk)
    assert letter.context["animal"] is None, "he was never let see it"

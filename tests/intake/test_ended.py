"""An animal that died, is lost or was stolen: who may say so, what it ends, and what it never
ends; and that being put right."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.breeding.queries.pairings import animals_paired, pairings_seen
from scalewitness.calls.models import Call
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.disputes.queries.disputes import at_stake, by_need
from scalewitness.domain.errors import Refused
from scalewitness.intake.outcomes import Outcome
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.planning.candidates import candidates
from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of, sale_of
from scalewitness.standings.queries.assessing import yardstick
from scalewitness.standings.queries.logged import labels_counted
from scalewitness.standings.queries.replay import Replay

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]


def ends(
    world: World, animal: Animal, why: str = "died", who: Keeper | None = None, **more: Any
) -> Outcome:
    kind = "animal_ended" if why in {"died", "lost", "stolen"} else "end_corrected"
    return world.say(who or world.odile, kind, animal.pk, {"why": why}, **more)


def refused(world: World, *given: Any, **more: Any) -> dict[str, Any]:
    with pytest.raises(Refused) as error, transaction.atomic():
        ends(world, *given, **more)
    return error.value.as_problem()


def ended(animal: Animal) -> str:
    return Animal.objects.get(pk=animal.pk).ended


def letters(kind: str) -> set[str]:
    return set(Letter.objects.filter(kind=kind).values_list("to", flat=True))


def now(sale: Sale) -> Sale:
    found = sale_of(sale.pk)
    assert found is not None
    return found


def test_its_keeper_or_a_partner_says_so_and_nobody_else(world: World) -> None:
    animal, other = world.animal("A1"), world.animal("A2")
    world.make_partner(world.pim)
    world.visit(world.greta, animal, blind=False)
    for who in (world.greta, world.stan):
        assert refused(world, animal, who=who)["code"] == "not_found"
    ends(world, animal, who=world.pim)
    ends(world, other, "stolen")
    assert (ended(animal), ended(other)) == ("died", "stolen")


def test_it_is_put_right_by_a_new_entry_and_what_died_is_not_found(world: World) -> None:
    animal = world.animal("A1")
    assert refused(world, animal, "mistake")["code"] == "not_now"
    ends(world, animal, "lost")
    assert "is lost" in refused(world, animal, "died")["detail"]
    ends(world, animal, "found")
    ends(world, animal, "died")
    assert "mistake" in refused(world, animal, "found")["detail"]
    ends(world, animal, "mistake")
    assert ended(animal) == ""
    call_command("fsck")


def test_it_is_since_the_day_that_was_named(world: World) -> None:
    animal, day = world.animal("A1"), world.now - timedelta(days=3)
    ends(world, animal, at=day)
    found = Animal.objects.get(pk=animal.pk)
    assert found.ended_at == day
    call_command("fsck")


def test_it_leaves_counts_plans_and_pairings_ahead_and_comes_back(world: World) -> None:
    animal, mate = world.animal("A1"), world.animal("A2")
    pair = {"sire": str(animal.pk), "dam": str(mate.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)

    def seen() -> tuple[bool, ...]:
        counted = labels_counted([world.collection.pk])[world.collection.pk]
        one, stake = Animal.objects.get(pk=animal.pk), at_stake([animal.pk], world.now)
        (ready,) = candidates([one], stake, yardstick().numbers, world.now)
        return (
            counted.total() == 2,
            animal in by_need(world.collection),
            bool(animals_paired([mate.pk])),
            bool(pairings_seen(world.odile.pk, world.now)),
            not ready.leave_alone,
        )

    assert seen() == (True,) * 5
    ends(world, animal, "lost")
    assert seen() == (False,) * 5
    with pytest.raises(Refused, match="is lost"), transaction.atomic():
        world.say(world.odile, "pairing_planned", new_id(world.now), pair | {"season": 2028})
    ends(world, animal, "found")
    assert seen() == (True,) * 5


def test_an_open_offer_is_held_and_both_sides_are_told(world: World) -> None:
    """Whatever was read and pressed: what is not there cannot be confirmed, paid or offered."""
    animal = world.verified("A1")
    world.make_partner(world.pim)
    sale = world.draft(animal)
    offer = world.offer(sale)
    assert offer.id is not None
    assert offer.position is not None
    ends(world, animal, "lost", who=world.pim)
    assert progress_of(now(sale)).held == ("animal_ended",)
    with pytest.raises(Refused, match="died, or be lost or stolen"), transaction.atomic():
        world.confirm(sale, offer.id, offer.position + 1)
    assert letters("animal_ended_buyer") == {"bela@buyers.example"}
    assert letters("animal_ended") == {world.odile.email}
    with pytest.raises(Refused, match="without it"), transaction.atomic():
        world.offer(now(sale))
    ends(world, animal, "found")
    assert progress_of(now(sale)).is_held, "until it is offered anew"
    again = world.offer(now(sale))
    assert again.id is not None
    world.confirm(now(sale), again.id, again.position or 0)
    assert progress_of(now(sale)).state == "confirmed"
    call_command("fsck")


def test_a_held_sale_is_held_for_this_too(world: World) -> None:
    """Else a better standing later would read as if nothing stood in the way."""
    animal = world.verified("A1")
    sale = world.draft(animal)
    world.offer(sale)
    world.call(world.greta, animal, "female", visit=world.visit(world.greta, animal))
    ends(world, animal)
    ends(world, animal, "mistake")
    ends(world, animal)
    assert progress_of(now(sale)).held == ("standing_fell", "animal_ended")


def test_a_seller_escapes_no_disclosure_and_no_dispute_by_it(world: World) -> None:
    animal = world.verified("A1")
    sale = world.sold(animal)
    visit = world.visit(world.greta, animal)
    ends(world, animal, at=world.now - timedelta(days=40))
    world.pass_time(days=1)
    world.call(world.greta, animal, "female", visit=visit)
    assert Disclosure.objects.get().to_id == sale.buyer_id
    assert Dispute.objects.get().animal_id == animal.pk
    assert letters("disclosure") == {"bela@buyers.example"}
    assert letters("animal_ended_buyer") == {"bela@buyers.example"}, "told that it is said"


def test_no_call_is_lost_whatever_day_it_is_of(world: World) -> None:
    """One from before, pushed late; and one of a later day, such as after death."""
    animal = world.animal("A1")
    visit, examined = world.visit(world.greta, animal), world.now
    world.pass_time(days=1)
    ends(world, animal)
    world.pass_time(days=3)
    world.call(world.greta, animal, "male", visit=visit, at=examined)
    world.call(world.odile, animal, "male")
    assert Call.objects.filter(animal=animal).count() == 2
    assert not list(Replay().differences())


def test_whoever_lent_it_or_planned_with_it_is_told_as_far_as_they_may_see(world: World) -> None:
    animal = world.animal("A1")
    room = create_collection(world.pim, new_id(world.now), "Pim's", world.now)
    mate = world.animal("M1", room=room)
    partner = {"to": str(world.odile.pk), "role": "partner"}
    world.say(world.pim, "grant_given", room.pk, partner)
    pair = {"sire": str(animal.pk), "dam": str(mate.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    ends(world, animal)
    (told,) = Letter.objects.filter(kind="animal_ended")
    assert (told.to, told.context["animal"]) == (world.pim.email, None), "not theirs to see"


def test_a_blind_guest_of_the_mate_hears_nothing(world: World) -> None:
    animal = world.animal("A1")
    room = create_collection(world.pim, new_id(world.now), "Pim's", world.now)
    mate = world.animal("M1", room=room)
    partner = {"to": str(world.odile.pk), "role": "partner"}
    world.say(world.pim, "grant_given", room.pk, partner)
    pair = {"sire": str(animal.pk), "dam": str(mate.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    world.visit(world.pim, animal)
    ends(world, animal)
    assert letters("animal_ended") == set()


def test_a_lender_is_told(world: World) -> None:
    lender = keeper("Lena Ortiz")
    room = create_collection(lender, new_id(world.now), "Lena's", world.now)
    animal = world.animal("A1", room=room)
    partner = {"to": str(lender.pk), "role": "partner"}
    grant = world.say(world.odile, "grant_given", world.collection.pk, partner).id
    moved = {"to": str(world.collection.pk), "why": "loaned"}
    world.say(lender, "custody_changed", animal.pk, moved)
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": grant})
    ends(world, animal)
    assert letters("animal_ended") == {lender.email}


@pytest.mark.parametrize(("role", "fits", "too_early"), [("dam", 200, 201), ("sire", 2396, 2397)])
def test_young_are_of_no_parent_that_had_died_long_before(
    world: World, role: str, fits: int, too_early: int
) -> None:
    """A dam laid the eggs; a sire's sperm may have been kept for six years."""
    parent, young = world.animal("P1"), world.animal("H1")
    day = world.now.date() - timedelta(days=10)
    died = world.now - timedelta(days=10 + too_early)
    ends(world, parent, at=died)
    body = {"species": "python_regius", "hatched": str(day), role: str(parent.pk)}
    with pytest.raises(Refused) as error, transaction.atomic():
        world.say(world.odile, "particulars_corrected", young.pk, body)
    problem = error.value.as_problem()
    assert problem["errors"][0]["pointer"] == f"/body/{role}"
    assert problem["detail"] == (
        f"Its keeper says that this {role} died on {died.date()}: too long before young that "
        f"hatched on {day}. Choose another, or put one of the days right."
    )
    with pytest.raises(Refused), transaction.atomic():
        world.animal("H2", hatched=str(day), **{role: str(parent.pk)})
    earlier = str(died.date() + timedelta(days=fits))
    world.say(world.odile, "particulars_corrected", young.pk, body | {"hatched": earlier})
    ends(world, parent, "mistake")
    world.say(world.odile, "particulars_corrected", young.pk, body)


def test_a_lost_parent_may_have_had_young(world: World) -> None:
    parent = world.animal("P1")
    ends(world, parent, "lost", at=world.now - timedelta(days=900))
    young = world.animal("H1", hatched=str(world.now.date()), dam=str(parent.pk))
    assert young.dam == parent.pk

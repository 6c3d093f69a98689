"""From rows to the next check worth making, and what a supposed call would do."""

from uuid import UUID

import msgspec
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.assessed import assessment_of
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection, edit
from scalewitness.calls.models import Call
from scalewitness.disputes.queries.disputes import at_stake, by_need
from scalewitness.domain.observations import Observation
from scalewitness.domain.sexing.planning import Check
from scalewitness.domain.sexing.reasons import HAS_A_SHARE, REPORTED
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.services import name_practitioner
from scalewitness.planning.available import PARTIES, Prices, examiners_for
from scalewitness.planning.plans import (
    PlannedAnimal,
    PlannedVisit,
    plan_animal,
    plan_visit,
    planning_numbers,
)
from scalewitness.planning.supposing import SupposedAnswer, suppose

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]


def planned(world: World, animal: Animal) -> PlannedAnimal:
    """By everyone who could come, at no price."""
    stake = at_stake([animal.pk], world.now)
    who = examiners_for(animal.collection, [animal], stake, world.now).priced(FREE)
    return plan_animal(animal, who, who.names, stake, world.now)


def visit_of(world: World, minutes: float, by: str | None = None) -> PlannedVisit:
    """To all animals of the collection."""
    animals = list(by_need(world.collection))
    stake = at_stake([one.pk for one in animals], world.now)
    who = examiners_for(world.collection, animals, stake, world.now).priced(FREE)
    return plan_visit(animals, who, [by] if by else who.names, stake, minutes, world.now)


FREE = Prices(dict.fromkeys(PARTIES, 0.0), 500)


def best(found: PlannedAnimal, method: str, examiner: object) -> Check | None:
    checks = (one for one in found.plan.checks if one.method == method)
    return next((one for one in checks if one.examiner == str(examiner)), None)


def ruled_out(found: PlannedAnimal, method: str, examiner: str = "keeper") -> tuple[str, ...]:
    rows = [one for one in found.plan.ruled_out if one.method == method]
    return next((one.why for one in rows if one.examiner == examiner), ())


def knows(found: PlannedAnimal, examiner: UUID) -> bool:
    """Whether that examiner is thought to know what is on record of the animal."""
    (one,) = (one for one in found.examiners.available if one.examiner == str(examiner))
    return bool(one.knows)


def rested(world: World) -> None:
    """Past the fortnight between two invasive checks."""
    world.pass_time(days=15)


@pytest.fixture
def probed(world: World) -> Animal:
    """One animal with its owner's probing."""
    animal = world.animal("A-1")
    world.call(world.odile, animal, "male")
    rested(world)
    return animal


def test_an_independent_keeper_comes_before_the_owner(world: World, probed: Animal) -> None:
    found = planned(world, probed)
    blind, own = best(found, "probing", "keeper"), best(found, "probing", world.odile.pk)
    assert blind is not None
    assert blind.blind
    assert blind.verified > 0.5
    assert any("lacks a blind check" in one for one in blind.reasons)
    assert own is None or own.benefit < blind.benefit


def test_methods_of_a_trade_are_for_that_trade(world: World, probed: Animal) -> None:
    found = planned(world, probed)
    role = ("An examiner in this role does not use this method.",)
    assert ruled_out(found, "ultrasound", "keeper") == role
    assert role[0] in ruled_out(found, "dna", "veterinarian")
    roles = {one.role for one in found.plan.checks if one.method in {"ultrasound", "endoscopy"}}
    assert roles == {"veterinarian"}


def test_every_check_is_either_proposed_or_ruled_out_with_a_reason(
    world: World, probed: Animal
) -> None:
    found = planned(world, probed)
    listed = [(one.method, one.examiner) for one in (*found.plan.checks, *found.plan.ruled_out)]
    assert len(listed) == len(set(listed)) == 7 * len(found.examiners.available)
    assert all(one.why for one in found.plan.ruled_out)
    assert all(one.reasons for one in found.plan.checks)


def test_a_recently_fed_animal_waits(world: World, probed: Animal) -> None:
    meal = {"noted": {"type": "meal", "taken": True}}
    assert world.say(world.odile, "husbandry_noted", probed.pk, meal).status == "accepted"
    world.pass_time(days=1)
    why = ruled_out(planned(world, probed), "probing")
    assert why == ("It was fed less than 7 days before.",)
    visit = visit_of(world, 60, "keeper")
    assert visit.sheet.lines == visit.sheet.no_need == ()
    assert [one.animal for one in visit.waiting] == [str(probed.pk)]
    assert "It was fed less than 7 days before." in visit.waiting[0].why
    world.pass_time(days=7)
    assert best(planned(world, probed), "probing", "keeper") is not None


def test_a_meal_refused_keeps_nobody_away(world: World, probed: Animal) -> None:
    meal = {"noted": {"type": "meal", "taken": False}}
    assert world.say(world.odile, "husbandry_noted", probed.pk, meal).status == "accepted"
    assert ruled_out(planned(world, probed), "probing") == ()


@pytest.mark.parametrize(
    ("noted", "words"),
    [
        ({"type": "shed", "stage": "opaque"}, "The animal is in shed."),
        ({"type": "health", "sign": "gravid"}, "The animal is gravid."),
        ({"type": "health", "sign": "ill"}, "The animal is ill."),
        ({"type": "health", "sign": "injured"}, "It was last noted as injured."),
        ({"type": "health", "sign": "under_treatment"}, "It is under treatment."),
    ],
)
def test_its_condition_keeps_it_from_probing(
    world: World, probed: Animal, noted: dict[str, str], words: str
) -> None:
    said = world.say(world.odile, "husbandry_noted", probed.pk, {"noted": noted})
    assert said.status == "accepted"
    found = planned(world, probed)
    assert words in ruled_out(found, "probing")
    assert not [one for one in found.plan.checks if one.method == "probing"]


def test_on_hold_off_only_what_needs_no_animal_is_left(world: World, probed: Animal) -> None:
    edit(probed, {"hold_off": True}, version=probed.version, by=world.odile, now=world.now)
    found = planned(world, Animal.objects.get(pk=probed.pk))
    assert {one.method for one in found.plan.checks} <= {"dna"}
    why = "The keeper asks everyone to leave this animal alone for now."
    assert why in ruled_out(found, "probing")
    visit = visit_of(world, 60)
    assert [(one.animal, one.why) for one in visit.waiting] == [(str(probed.pk), (why,))]


def test_a_withdrawn_probing_still_burdened_the_animal(world: World, probed: Animal) -> None:
    before = best(planned(world, probed), "probing", "keeper")
    call = probed.calls.get()
    world.say(world.odile, "call_withdrawn", probed.pk, {"call": str(call.pk)})
    after = best(planned(world, probed), "probing", "keeper")
    assert before is not None
    assert after is not None
    assert after.burden == before.burden > 0
    assert any("one invasive check already" in one for one in after.reasons)


def test_a_verified_animal_needs_nothing(world: World) -> None:
    animal = world.verified("V-1")
    rested(world)
    assert planned(world, animal).plan.checks == ()
    visit = visit_of(world, 60)
    assert (visit.sheet.no_need, visit.waiting) == ((str(animal.pk),), ())


def test_what_hangs_on_an_animal_puts_it_first(world: World) -> None:
    plain, sold = world.animal("A-1"), world.animal("A-2")
    world.draft(sold)
    stake = at_stake([plain.pk, sold.pk], world.now)
    assert stake.of(sold.pk) == ("open_sale",)
    assert stake.of(plain.pk) == ()
    visit = visit_of(world, 60, "keeper")
    by_animal = {line.animal: line for line in visit.sheet.lines}
    assert set(by_animal) == {str(sold.pk), str(plain.pk)}
    assert "A buyer is waiting for it." in by_animal[str(sold.pk)].reasons
    (only,) = visit_of(world, 12, "keeper").sheet.lines
    assert only.animal == str(sold.pk)


def test_a_sale_that_is_over_hangs_on_nothing(world: World) -> None:
    animal = world.verified("V-1")
    sale = world.sold(animal)
    assert at_stake([animal.pk], world.now).of(animal.pk) == ("open_sale",)
    world.say(world.odile, "handed_over", sale.pk)
    assert at_stake([animal.pk], world.now).of(animal.pk) == ()


def test_a_dispute_is_at_stake(world: World, probed: Animal) -> None:
    body = {"animal": str(probed.pk), "ground": "party_objects"}
    assert world.say(world.odile, "dispute_opened", new_id(), body).status == "accepted"
    assert at_stake([probed.pk], world.now).of(probed.pk) == ("dispute",)


def test_the_budget_is_kept_and_the_rest_named(world: World) -> None:
    animals = {str(world.animal(f"A-{n}").pk) for n in range(3)}
    visit = visit_of(world, 20, "keeper")
    assert visit.sheet.minutes <= visit.sheet.budget == 20
    done = {line.animal for line in visit.sheet.lines}
    assert len(done) == 2
    assert set(visit.sheet.left_out) == animals - done


def test_past_guests_can_come_again_and_what_they_know_counts(world: World) -> None:
    seen, unseen = world.animal("A-1"), world.animal("A-2")
    world.call(world.greta, seen, "male", visit=world.visit(world.greta, seen))
    rested(world)
    assert knows(planned(world, seen), world.greta.pk)
    assert not knows(planned(world, unseen), world.greta.pk)
    fresh = best(planned(world, unseen), "probing", world.greta.pk)
    assert fresh is not None
    assert fresh.blind
    strangers = {one.examiner for one in planned(world, seen).examiners.available}
    assert str(world.stan.pk) not in strangers


def test_an_open_visit_tells_a_guest_what_is_on_record(world: World) -> None:
    seen, shown = world.animal("A-1"), world.animal("A-2")
    world.call(world.greta, seen, "male", visit=world.visit(world.greta, seen))
    world.call(world.odile, shown, "male")
    world.visit(world.greta, shown, blind=False)
    rested(world)
    assert knows(planned(world, shown), world.greta.pk)


def test_a_guest_who_plans_to_pair_with_it_knows_what_it_is_taken_for(world: World) -> None:
    """As the record takes it (`intake.known.Tie.blind`): their own call is not a blind one."""
    seen, paired = world.animal("A-1"), world.animal("A-2")
    shelf = create_collection(world.greta, new_id(world.now), "Greta's shelf", world.now)
    hers = world.animal("G-1", room=shelf)
    let_look = {"to": str(world.odile.pk), "role": "viewer"}
    world.say(world.greta, "grant_given", shelf.pk, let_look)
    world.call(world.greta, seen, "male", visit=world.visit(world.greta, seen))
    rested(world)
    assert not knows(planned(world, paired), world.greta.pk)
    pairing = {"sire": str(paired.pk), "dam": str(hers.pk), "season": 2027}
    world.say(world.odile, "pairing_planned", new_id(world.now), pairing)
    assert knows(planned(world, paired), world.greta.pk)
    check = best(planned(world, paired), "probing", world.greta.pk)
    assert check is None or not check.blind
    visit = world.visit(world.greta, paired)
    assert world.call(world.greta, paired, "male", visit=visit).status == "accepted"
    assert not Call.objects.get(animal=paired).blind


def test_a_reported_check_is_never_the_blind_one(world: World, probed: Animal) -> None:
    """As the record takes it: no reported call counts as blind, so ultrasound alone beside
    the owner's probing verifies nothing."""
    found = best(planned(world, probed), "ultrasound", "veterinarian")
    assert found is not None
    assert found.verified == 0
    assert not found.blind
    assert REPORTED in found.reasons
    assert HAS_A_SHARE not in found.reasons


def test_more_animals_take_no_more_queries(world: World) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            visit_of(world, 60)
        return len(asked)

    world.call(world.odile, world.animal("A-1"), "male")
    few = queries()
    for n in range(5):
        world.call(world.odile, world.animal(f"B-{n}"), "female")
    assert queries() == few


def test_every_planning_number_has_its_status() -> None:
    numbers = {one.name: one for one in planning_numbers()}
    assert numbers["stakes.open_sale"].value == 5
    assert numbers["rest.invasive_meal_days"].status == "common practice"
    assert all(one.status for one in numbers.values())


# --- what if --------------------------------------------------------------------------


def supposed_and_real(world: World, animal: Animal, call: SupposedAnswer, who: UUID) -> tuple:
    size = tip().size
    found = suppose(animal, call, who, world.now)
    assert tip().size == size
    return found.before, found.after


def test_a_blind_guests_probing_is_foretold(world: World, probed: Animal) -> None:
    body = probing("male", "A-1")
    visit = world.visit(world.greta, probed)
    call = SupposedAnswer("probing", "male", observed=_observed(body))
    before, after = supposed_and_real(world, probed, call, world.odile.pk)
    assert before == assessment_of(probed)[0]
    assert world.call(world.greta, probed, "male", visit=visit).status == "accepted"
    real = assessment_of(probed)[0]
    assert (real.label, real.p_male, real.p_male_pessimistic) == (
        after.label,
        after.p_male,
        after.p_male_pessimistic,
    )
    assert real.label == world.label(probed) == "verified male"


def test_the_owners_own_second_probing_is_foretold(world: World, probed: Animal) -> None:
    call = SupposedAnswer("probing", "female", mine=True, observed=_observed(probing("female")))
    _, after = supposed_and_real(world, probed, call, world.odile.pk)
    assert world.call(world.odile, probed, "female").status == "accepted"
    real = assessment_of(probed)[0]
    assert (real.label, real.p_male) == (after.label, after.p_male)


def test_a_vets_reported_ultrasound_is_foretold(world: World, probed: Animal) -> None:
    call = SupposedAnswer("ultrasound", "male", role="veterinarian")
    _, after = supposed_and_real(world, probed, call, world.odile.pk)
    vet = _practitioner(world)
    body = {
        "conclusion": "male",
        "sureness": "certain",
        "observed": {"method": "ultrasound", "seen": "hemipenes"},
        "identified": {"by": "tag", "code": "A-1"},
        "held_by": "second_person",
        "reported": {"role": "veterinarian", "who": str(vet)},
    }
    assert world.say(world.odile, "call_made", probed.pk, body).status == "accepted"
    real = assessment_of(probed)[0]
    assert (real.label, real.p_male) == (after.label, after.p_male)
    assert real.label == world.label(probed)


def _observed(body: dict) -> object:
    return msgspec.convert(body["observed"], Observation)


def _practitioner(world: World) -> UUID:
    vet = new_id(world.now)
    name_practitioner(world.odile, vet, "Dr Ilse Brandt")
    return vet


def test_those_are_looked_at_first_that_most_hangs_on_and_least_is_known_of(world: World) -> None:
    verified, unsexed, left_alone = world.verified("V-1"), world.animal("A-1"), world.animal("H-1")
    sold = world.animal("S-1")
    world.call(world.odile, sold, "male")
    world.draft(sold)
    fields = {"hold_off": True}
    edit(left_alone, fields, version=left_alone.version, by=world.odile, now=world.now)
    assert list(by_need(world.collection)) == [sold, unsexed, verified, left_alone]

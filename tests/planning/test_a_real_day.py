"""A day's work at the racks: who comes, what it costs, and a clutch out of one tub."""

from collections.abc import Callable, Iterable

import pytest
from tests.assessed import assessment_of
from tests.world import World, keeper, new_id, probing, tag_of

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection, edit
from scalewitness.disputes.queries.disputes import at_stake, by_need
from scalewitness.domain.sexing.planning import Check
from scalewitness.domain.sexing.reasons import TO_BE_CONFIRMED, UNCONFIRMED
from scalewitness.people.models import Keeper, Practitioner
from scalewitness.people.services import enter_address, name_practitioner
from scalewitness.planning.available import SUPPOSED_PRICES, Examiners, Prices, examiners_for
from scalewitness.planning.plans import PlannedAnimal, PlannedVisit, plan_animal, plan_visit
from scalewitness.planning.supposing import SupposedAnswer, suppose

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]

FREE = Prices(dict.fromkeys(SUPPOSED_PRICES.by, 0.0), 500.0)


def everyone(world: World, animals: Iterable[Animal]) -> Examiners:
    herd = list(animals)
    stake = at_stake([one.pk for one in herd], world.now)
    return examiners_for(world.collection, herd, stake, world.now)


def visit_of(world: World, minutes: float, prices: Prices = SUPPOSED_PRICES) -> PlannedVisit:
    """By those who come when nobody says who does."""
    animals = list(by_need(world.collection))
    who = everyone(world, animals).priced(prices)
    stake = at_stake([one.pk for one in animals], world.now)
    return plan_visit(animals, who, who.expected, stake, minutes, world.now)


def planned(
    world: World, animal: Animal, *today: str, prices: Prices = SUPPOSED_PRICES
) -> PlannedAnimal:
    who = everyone(world, [animal]).priced(prices)
    stake = at_stake([animal.pk], world.now)
    return plan_animal(animal, who, today or who.expected, stake, world.now)


def check(found: PlannedAnimal, method: str, examiner: object) -> Check:
    return next(
        one for one in found.plan.checks if (one.method, one.examiner) == (method, str(examiner))
    )


def hatched(world: World, count: int = 12) -> list[Animal]:
    """One clutch of ball pythons, a week old, in tubs A1 to A12."""
    dam = world.animal("DAM")
    day = f"{world.now:%Y-%m-%d}"
    found = []
    for n in range(1, count + 1):
        one = world.animal(f"H-{n}", hatched=day, dam=str(dam.pk))
        found.append(racked(world, one, f"A{n}"))
    world.pass_time(days=7)
    edit(dam, {"hold_off": True}, version=dam.version, by=world.odile, now=world.now)
    return found


def racked(world: World, animal: Animal, place: str) -> Animal:
    edit(animal, {"rack": place}, version=animal.version, by=world.odile, now=world.now)
    return animal


def test_a_clutch_of_twelve_in_an_hour_is_twelve_lines_in_the_order_of_the_tubs(
    world: World,
) -> None:
    young = hatched(world)
    sheet = visit_of(world, 60).sheet
    assert [line.animal for line in sheet.lines] == [str(one.pk) for one in young]
    assert {line.method for line in sheet.lines} == {"probing", "eversion"}
    assert sheet.setups == 4
    assert sheet.minutes <= 60
    assert all(line.settles for line in sheet.lines)
    assert set(sheet.ahead) == {line.animal for line in sheet.lines}


def test_racks_are_walked_as_people_count(world: World) -> None:
    for place in ("R10", "R2", "", "R1"):
        racked(world, world.animal(f"T-{place}"), place)
    lines = visit_of(world, 200).sheet.lines
    racks = [Animal.objects.get(pk=line.animal).rack for line in lines]
    assert racks == ["R1", "R2", "R10", ""]


def test_a_veterinarian_is_planned_with_only_where_one_comes(world: World) -> None:
    animal = world.animal("A-1")
    assert "veterinarian" not in everyone(world, [animal]).expected
    roles = {one.role for one in planned(world, animal).plan.checks}
    assert "veterinarian" not in roles
    asked = planned(world, animal, "veterinarian", prices=FREE)
    assert {one.role for one in asked.plan.checks} == {"veterinarian"}


def test_a_price_is_held_against_what_a_wrong_sex_costs(world: World) -> None:
    """Twice the price and twice the loss in another money are the same plan."""
    animal = world.animal("A-1")
    cheap = Prices({**SUPPOSED_PRICES.by, "veterinarian": 5.0}, 500.0)
    other_money = Prices({party: 300 * p for party, p in cheap.by.items()}, 150_000.0)
    dear = Prices({**SUPPOSED_PRICES.by, "veterinarian": 400.0}, 500.0)
    found = planned(world, animal, "veterinarian", prices=cheap)
    assert check(found, "probing", "veterinarian").cost == 0.01
    assert planned(world, animal, "veterinarian", prices=other_money).plan == found.plan
    assert planned(world, animal, "veterinarian", prices=dear).plan.checks == ()


# --- a practice the record can ask ------------------------------------------------------------


@pytest.fixture
def vet(world: World) -> Keeper:
    """With an account of her own."""
    return keeper("Ilse Brandt")


@pytest.fixture
def practice(world: World) -> Practitioner:
    """Odile reported a call of hers on another animal."""
    named = name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")
    report(world, world.animal("E-1"), named)
    world.pass_time(days=1)
    return named


def report(world: World, animal: Animal, named: Practitioner) -> str:
    body = probing("male", tag_of(animal))
    body |= {"observed": {"method": "ultrasound", "seen": "hemipenes"}}
    body |= {"reported": {"role": "veterinarian", "who": str(named.pk)}}
    made = world.say(world.odile, "call_made", animal.pk, body)
    assert made.id is not None
    return made.id


def test_what_a_practice_confirms_is_foreseen_as_it_then_comes(
    world: World, practice: Practitioner, vet: Keeper
) -> None:
    """Asked where the operator entered; each record the plan foresaw is the one that came."""
    enter_address(practice, vet.email, new_id(world.now), world.now)
    foreseen_as_it_comes(world, practice, vet)


def foreseen_as_it_comes(world: World, practice: Practitioner, vet: Keeper) -> None:
    animal = world.animal("A-1")
    found = planned(world, animal, str(practice.pk), "veterinarian", prices=FREE)
    named, nobody = (check(found, "ultrasound", one) for one in (practice.pk, "veterinarian"))
    assert named.loss_after < nobody.loss_after
    assert TO_BE_CONFIRMED in named.reasons
    assert UNCONFIRMED in nobody.reasons
    supposed = SupposedAnswer("ultrasound", "male", role="veterinarian", confirmed=True)
    foreseen = suppose(animal, supposed, world.odile.pk, world.now).after
    call = report(world, animal, practice)
    assert assessment_of(animal)[0].p_male < foreseen.p_male
    world.say(vet, "report_answered", animal.pk, {"call": call, "answer": "confirmed"})
    real = assessment_of(animal)[0]
    assert (real.label, real.p_male) == (foreseen.label, foreseen.p_male)


@pytest.fixture
def account(world: World, practice: Practitioner, vet: Keeper) -> Keeper:
    """Odile says that the practice is asked at the address of the vet's account."""
    enter_address(practice, vet.email, new_id(world.now), world.now, world.odile)
    world.pass_time(minutes=1)
    return vet


def confirm(world: World, vet: Keeper, *people: Keeper, **more: object) -> None:
    for who in people:
        world.say(who, "keeper_vouched", vet.pk, {"practice": "veterinarian", **more})


def test_an_account_that_two_confirm_as_the_practice_is_foreseen_as_it_then_comes(
    world: World, practice: Practitioner, account: Keeper
) -> None:
    confirm(world, account, world.stan, world.fenna)
    assert str(practice.pk) not in everyone(world, [world.animal("A-2")]).expected
    foreseen_as_it_comes(world, practice, account)


def of_one(world: World, account: Keeper) -> None:
    confirm(world, account, world.stan)


def of_the_one_who_plans(world: World, account: Keeper) -> None:
    confirm(world, account, world.stan, world.odile)


def of_another_trade(world: World, account: Keeper) -> None:
    confirm(world, account, world.stan, world.fenna, practice="laboratory")


def of_one_who_said_no_longer(world: World, account: Keeper) -> None:
    confirm(world, account, world.stan, world.fenna)
    confirm(world, account, world.stan, vouches=False)


@pytest.mark.parametrize(
    "said", [of_one, of_the_one_who_plans, of_another_trade, of_one_who_said_no_longer]
)
def test_an_account_whose_answer_would_not_count_is_not_counted_on(
    world: World,
    practice: Practitioner,
    account: Keeper,
    said: Callable[[World, Keeper], None],
) -> None:
    said(world, account)
    assert str(practice.pk) not in everyone(world, [world.animal("A-1")]).names


def test_of_the_animals_of_one_visit_it_is_counted_on_where_its_answer_counts(
    world: World, practice: Practitioner, account: Keeper
) -> None:
    """Stan answers for Pim, who kept one of them: of that one his word makes no practice."""
    room = create_collection(world.pim, new_id(world.now), "Pim's room", world.now)
    partner = {"to": str(world.odile.pk), "role": "partner"}
    world.say(world.pim, "grant_given", room.pk, partner)
    moved, other = world.animal("A-2"), world.animal("A-1")
    for who, to, why in (
        (world.odile, room, "loaned"),
        (world.pim, world.collection, "returned"),
    ):
        said = {"to": str(to.pk), "why": why}
        assert world.say(who, "custody_changed", moved.pk, said).status == "accepted"
    moved.refresh_from_db()
    world.say(world.stan, "keeper_vouched", world.pim.pk, {})
    confirm(world, account, world.stan, world.fenna)
    found = everyone(world, [moved, other])
    (named,) = [one for one in found.available if one.examiner == str(practice.pk)]
    assert named.confirms == {str(other.pk)}
    assert str(practice.pk) not in everyone(world, [moved]).names


def test_a_practice_whose_address_is_the_keepers_own_word_is_not_counted_on(
    world: World, practice: Practitioner, vet: Keeper
) -> None:
    animal = world.animal("A-1")
    assert str(practice.pk) not in everyone(world, [animal]).names
    enter_address(practice, vet.email, new_id(world.now), world.now, world.odile)
    assert str(practice.pk) not in everyone(world, [animal]).names
    world.pass_time(minutes=1)
    enter_address(practice, vet.email, new_id(world.now), world.now)
    assert everyone(world, [animal]).names[str(practice.pk)] == "Dr Ilse Brandt"
    assert str(practice.pk) not in everyone(world, [animal]).expected

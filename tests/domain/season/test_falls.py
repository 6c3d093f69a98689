"""When something falls: the repair that changes least, what hurts most, what to check first."""

import pytest
from msgspec.structs import replace
from tests.domain.season.seasons import HET, PLAIN, VISUAL, animal, drawn_season, pair, season

from scalewitness.domain.season.by_hand import mean, outcomes
from scalewitness.domain.season.check_first import (
    FEMALE,
    MALE,
    CheckAnswer,
    PossibleCheck,
    Rates,
    check_first,
    supposed_rates,
)
from scalewitness.domain.season.falls import falls
from scalewitness.domain.season.optimum import best_plan
from scalewitness.domain.season.repair import repaired
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.season.values import Limits

pytestmark = pytest.mark.one_in(2)

MAIN, SPARE = animal("m", 0.9, VISUAL, young={}), animal("n", 0.8, VISUAL)
DAMS = [animal(key, 0.01, HET) for key in "fgh"]
DAMS_BY_KEY = {"f", "g", "h"}
PLAN = tuple(pair("m", key) for key in "fgh")
HOBBY = season(MAIN, SPARE, *DAMS)


def what_if(season, plan, animal, *, male):
    """The best repair, were it of that sex."""
    return repaired(Scenarios(season).supposing(animal, male=male).season, plan)


def perfect(one):
    """It costs nothing and is never wrong."""
    answers = (CheckAnswer(one.p_male, {MALE: 1.0}), CheckAnswer(1 - one.p_male, {FEMALE: 1.0}))
    return PossibleCheck(one.animal, "dna", "laboratory", answers)


def test_a_male_that_is_a_female_is_replaced_by_the_spare():
    found = what_if(HOBBY, PLAN, "m", male=False)
    assert found.broken == PLAN
    assert found.left == 0
    assert found.plan == tuple(pair("n", key) for key in "fgh")


def test_what_was_not_touched_stays():
    """The better plan would turn everything over for little."""
    odd = animal("o", 1.0, VISUAL, young={6: 1.0})
    kept = (pair("n", "f"), pair("m", "g"))
    nearly = replace(SPARE, p_male=0.97)
    found = what_if(season(MAIN, nearly, odd, *DAMS), kept, "m", male=False)
    assert pair("n", "f") in found.plan
    assert found.dropped == ()
    assert found.broken == (pair("m", "g"),)


def test_an_animal_that_is_gone_breaks_its_pairings():
    without = season(SPARE, *DAMS)
    found = repaired(without, PLAN)
    assert found.broken == PLAN
    assert {one.sire for one in found.plan} == {"n"}
    ended = season(replace(MAIN, availability="ended"), SPARE, *DAMS)
    assert repaired(ended, PLAN).plan == found.plan


def test_an_offered_animal_repairs_where_it_may():
    offered = animal("z", 1.0, VISUAL, availability="offered")
    alone = season(MAIN, offered, *DAMS)
    assert what_if(alone, PLAN, "m", male=False).plan == ()
    may = replace(alone, limits=replace(alone.limits, use=frozenset({"offered"})))
    assert {one.sire for one in what_if(may, PLAN, "m", male=False).plan} == {"z"}


def test_steps_begin_with_no_change_and_bring_ever_more():
    found = what_if(HOBBY, PLAN, "m", male=False)
    assert found.steps[0].expected == found.left
    assert [one.changes for one in found.steps] == list(range(len(found.steps)))
    brings = [one.expected for one in found.steps]
    assert brings == sorted(brings)
    assert len(found.steps) > 2


def test_nothing_fallen_nothing_changed():
    settled = season(animal("m", 1.0, VISUAL), *DAMS)
    found = repaired(settled, PLAN)
    assert (found.plan, found.broken, found.added) == (tuple(sorted(PLAN)), (), ())


def test_of_all_falls_that_of_the_only_male_hurts_most():
    first, *others = falls(season(MAIN, *DAMS), PLAN)
    assert (first.animal, first.broken, first.left) == ("m", PLAN, 0)
    assert first.chance == pytest.approx(0.1)
    assert first.hurts == pytest.approx(9, rel=0.05)
    assert [one.animal for one in others] == ["f", "g", "h"]


def test_with_a_spare_that_of_a_female_hurts_more():
    found = {one.animal: one for one in falls(HOBBY, PLAN)}
    assert found["m"].hurts == pytest.approx(0.2 * 9, rel=0.1)
    assert max(found, key=lambda key: found[key].hurts) in DAMS_BY_KEY


@pytest.mark.parametrize("seed", range(5))
def test_a_free_check_that_is_never_wrong_never_loses(seed):
    drawn = drawn_season(seed)
    plan = best_plan(drawn).plan
    checks = [perfect(one) for one in drawn.animals]
    for found in check_first(drawn, plan, checks, supposed_rates()):
        assert found.gains >= -1e-9
        assert found.certain == pytest.approx(found.gains)


@pytest.mark.parametrize("seed", range(3))
def test_a_check_that_errs_gains_no_more_than_certainty_and_no_less_than_nothing(seed):
    drawn = drawn_season(seed)
    plan = best_plan(drawn).plan
    checks = []
    for one in drawn.animals:
        p, right = one.p_male, 0.9
        male = p * right + (1 - p) * (1 - right)
        after, other = p * right / male, p * (1 - right) / (1 - male)
        answers = (
            CheckAnswer(male, {MALE: after, FEMALE: 1 - after}),
            CheckAnswer(1 - male, {MALE: other, FEMALE: 1 - other}),
        )
        checks.append(PossibleCheck(one.animal, "probing", "keeper", answers))
    for found in check_first(drawn, plan, checks, supposed_rates()):
        assert -1e-9 <= found.gains <= found.certain + 1e-9


def test_the_male_of_many_females_is_checked_first():
    """Without a spare nothing can be done about it, so to know gains nothing: with one it does."""
    found = check_first(HOBBY, PLAN, [perfect(one) for one in HOBBY.animals], supposed_rates())
    assert found[0].check.animal == "m"
    # One in ten, and then what the spare brings instead of nothing.
    assert found[0].gains == pytest.approx(0.1 * 0.8 * 9, rel=0.15)
    alone = season(MAIN, *DAMS)
    gains = {
        one.check.animal: one.gains
        for one in check_first(alone, PLAN, [perfect(MAIN)], supposed_rates())
    }
    assert gains["m"] == pytest.approx(0, abs=1e-9)


def test_a_claim_is_worth_checking_where_another_dam_waits():
    """A sire with room for one female, one that is "66 % het" and one that is surely het."""
    claimed = animal("c", 0.0, carries={"albino": {HET: 2 / 3, PLAIN: 1 / 3}}, young={12: 1.0})
    sure = animal("d", 0.0, HET, young={5: 1.0})
    one_female = season(animal("m", 1.0, VISUAL), claimed, sure, limits=Limits(1))
    plan = (pair("m", "c"),)
    answers = (CheckAnswer(2 / 3, {HET: 1.0}), CheckAnswer(1 / 3, {PLAIN: 1.0}))
    check = PossibleCheck("c", "dna", "laboratory", answers, locus="albino", money=30)
    (found,) = check_first(one_female, plan, [check], Rates(young=100, minute=0, burden=0))
    assert found.gains == pytest.approx(5 / 2 / 3, rel=0.1)  # in one case of three, half of five
    assert found.net == pytest.approx(100 * found.gains - 30)


def test_what_a_check_costs_in_time_money_and_burden_is_taken_off():
    rates = Rates(young=10, minute=2, burden=100)
    check = replace(perfect(MAIN), minutes=5, money=7, burden=0.01)
    (found,) = check_first(HOBBY, PLAN, [check], rates)
    assert found.net == pytest.approx(10 * found.gains - 10 - 7 - 1)


def test_the_order_of_what_is_given_does_not_matter():
    drawn = drawn_season(3)
    plan = best_plan(drawn).plan
    turned = replace(drawn, animals=drawn.animals[::-1])
    checks = [perfect(one) for one in drawn.animals]
    rates = supposed_rates()
    assert falls(turned, plan[::-1]) == falls(drawn, plan)
    assert repaired(turned, plan[::-1]) == repaired(drawn, plan)
    assert check_first(turned, plan, checks[::-1], rates) == check_first(drawn, plan, checks, rates)


@pytest.mark.parametrize("seed", range(4))
def test_a_repair_brings_no_less_than_what_is_left(seed):
    drawn = drawn_season(seed)
    plan = best_plan(drawn).plan
    for one in falls(drawn, plan):
        assert one.after >= one.left - 1e-9
        thorough = what_if(drawn, plan, one.animal, male=one.animal.startswith("f"))
        scenarios = Scenarios(drawn).supposing(one.animal, male=one.animal.startswith("f"))
        assert thorough.worth.expected == pytest.approx(mean(outcomes(scenarios, thorough.plan)))

"""Checks before pairing as the model has them: by every method that can be used."""

import pytest
from msgspec.structs import replace
from tests.domain.season.seasons import ALBINO, HET, PLAIN, SPECIES, VISUAL, animal, pair, season
from tests.domain.sexing.builders import female, male
from tests.domain.sexing.planned import ANYONE, IDA, LAB, LATER, SECOND, VERA, animal_of

from scalewitness.domain.season.check_first import (
    FEMALE,
    MALE,
    CheckAnswer,
    PossibleCheck,
    check_first,
    supposed_rates,
)
from scalewitness.domain.season.feasible_checks import checks_of_claims, checks_of_sex
from scalewitness.domain.season.scenarios import Scenarios
from scalewitness.domain.sexing.feasible import Condition
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.weighing import Weighing

CALLED = animal_of(male("ivo"))
"""One keeper called it a male."""
SPARE = 0.8
"""The chance that the other animal is a male."""


def weighing(candidate):
    return Weighing.of(candidate, LATER, EMPTY, DEFAULT_POLICY, SECOND)


def checks(candidate=CALLED, *by):
    return list(checks_of_sex(weighing(candidate), by or (ANYONE, VERA, LAB)))


def test_answers_are_the_models_and_keep_its_mean():
    """What is believed after a check is on average what is believed before."""
    now = weighing(CALLED).now.p_male
    found = checks()
    assert {one.method for one in found} >= {"probing", "ultrasound", "endoscopy"}
    for one in found:
        chances = [answer.chance for answer in one.answers]
        assert sum(chances) == pytest.approx(1)
        mean = sum(answer.chance * answer.belief[MALE] for answer in one.answers)
        assert mean == pytest.approx(now, abs=0.01)
        assert all(sum(answer.belief.values()) == pytest.approx(1) for answer in one.answers)


def test_a_check_that_the_animal_is_too_ill_for_is_none():
    ill = replace(CALLED, condition=Condition(ill=True))
    assert {one.method for one in checks(ill)} <= {"dna"}


def test_a_surer_method_gains_more_but_costs_the_animal_more():
    """The only male of three females, with a spare: by ultrasound or by a keeper's probing."""
    p_male = weighing(CALLED).now.p_male
    sire = animal("x", p_male, VISUAL, p_male_strict=p_male, young={})
    dams = [animal(key, 0.0, HET) for key in "fgh"]
    room = season(sire, animal("n", 0.8, VISUAL, young={}), *dams)
    plan = tuple(pair("x", key) for key in "fgh")
    found = {one.check.method: one for one in check_first(room, plan, checks(), supposed_rates())}
    settled = PossibleCheck(
        "x", "dna", "lab", (CheckAnswer(p_male, {MALE: 1}), CheckAnswer(1 - p_male, {FEMALE: 1}))
    )
    (certain,) = check_first(room, plan, [settled], supposed_rates())
    for one in found.values():
        assert 0 <= one.gains <= one.certain
        assert one.certain == pytest.approx(certain.gains, rel=0.1)
    assert found["endoscopy"].gains > found["probing"].gains
    assert found["endoscopy"].check.burden > found["probing"].check.burden


def test_where_one_check_is_too_weak_to_change_a_plan_a_second_shows_its_worth():
    """Two keepers called the sire of three a male: whatever one more
    keeper says, the plan stays; two more who agree change it."""
    twice_called = animal_of(male("ivo"), male("ida"))
    p_male = weighing(twice_called).now.p_male
    sire = animal("x", p_male, VISUAL, p_male_strict=p_male, young={})
    dams = [animal(key, 0.0, HET) for key in "fgh"]
    room = season(sire, animal("n", SPARE, VISUAL, young={}), *dams)
    plan = tuple(pair("x", key) for key in "fgh")
    found = check_first(room, plan, checks(twice_called, ANYONE), supposed_rates())
    gains = {one.check.times: one.gains for one in found if one.check.method == "probing"}
    assert gains[1] < 1e-6 < gains[2]
    minutes = {one.check.times: one.check.minutes for one in found if one.check.method == "probing"}
    assert minutes[2] == 2 * minutes[1] > 0


def test_a_dna_test_is_offered_of_an_unsure_claim_at_a_known_gene():
    claimed = animal("f", 0.0, carries={"albino": {HET: 2 / 3, PLAIN: 1 / 3}})
    of = Scenarios(season(claimed, animal("m", 1.0, VISUAL)))
    (found,) = checks_of_claims(of, "f", "laboratory")
    assert (found.locus, found.method) == ("albino", "dna")
    assert sum(one.chance for one in found.answers) == pytest.approx(1)
    told = {max(one.belief, key=one.belief.__getitem__): one for one in found.answers}
    wrong = ALBINO.number("dna_missed")
    assert told[HET].chance == pytest.approx(2 / 3 * (1 - wrong) + 1 / 3 * wrong, abs=0.01)
    assert 1 > told[HET].belief[HET] > 0.99
    assert list(checks_of_claims(of, "m", "laboratory")) == []
    unknown = Scenarios(season(claimed, loci=[replace_gene(ALBINO)]))
    assert list(checks_of_claims(unknown, "f", "laboratory")) == []


def replace_gene(locus):
    return replace(locus, gene="")


def test_what_is_sure_is_checked_for_nothing():
    both = animal_of(male("ivo"), male("ida"), female("vera"))
    assert both.taxon.key == SPECIES
    assert all(one.minutes > 0 and one.money >= 0 for one in checks(both, IDA))

"""Which check is worth making, by whom, and a visit filled with them."""

from itertools import product
from math import exp, log

import pytest
from hypothesis import given, settings
from msgspec.structs import replace
from tests.domain.sexing.builders import (
    BALL,
    BOA,
    CORN,
    DAY,
    MASSASAUGA,
    PARAMETERS,
    SCRUB,
    call,
    female,
    male,
    probed,
    standing,
)
from tests.domain.sexing.planned import (
    IDA,
    IVO,
    LAB,
    LATER,
    SECOND,
    VERA,
    animal_of,
    check_of,
    owner,
    plan_of,
)
from tests.domain.sexing.strategies import RECORDS, TAXA

from scalewitness.domain.observations import Endoscopy
from scalewitness.domain.sexing.feasible import (
    Candidate,
    Condition,
    obstacles,
    planning_number,
)
from scalewitness.domain.sexing.findings import reading
from scalewitness.domain.sexing.likelihood import log_ratio
from scalewitness.domain.sexing.outcomes import prospect
from scalewitness.domain.sexing.parameters import ParameterSet, load_parameters
from scalewitness.domain.sexing.planning import SETUP
from scalewitness.domain.sexing.policy import DEFAULT_POLICY
from scalewitness.domain.sexing.records import EMPTY
from scalewitness.domain.sexing.taxa import taxon
from scalewitness.domain.sexing.weighing import Weighing, loss

# --- the arithmetic ---------------------------------------------------------------------


def test_an_ultrasound_followed_through_by_hand():
    """An unsexed animal, a veterinarian: error 1 in 50, animal misleading 1 in 200."""
    check = check_of(animal_of(), "ultrasound", VERA)
    said = {"male": (0.95, 0.03), "female": (0.05, 0.9)}  # (if male, if female)
    expected = 0.1
    for pair in said.values():
        slipped = [0.98 * pair[n] + 0.02 * pair[1 - n] for n in (0, 1)]
        seen = [0.995 * slipped[n] + 0.005 * slipped[1 - n] for n in (0, 1)]
        chance, share = sum(seen) / 2, max(seen) / sum(seen)
        expected += chance * (min(1 - share, 0.1) - 0.1)
    assert check.loss_now == pytest.approx(0.1)
    assert check.loss_after == pytest.approx(expected)
    assert check.verified == 0
    assert check.benefit == pytest.approx(0.1 - expected - 0.0005)
    assert check.minutes + SETUP == 14


def test_chances_of_a_further_probing_know_that_the_animal_may_mislead():
    """P(second | first) from both together over the first, the shared doubt in both."""
    first = male("ash")
    check = check_of(animal_of(first, taxon=BALL), "probing", IDA, SECOND)
    outcomes = prospect("probing", BALL, SECOND).outcomes

    def joint(*pairs):
        """(if male, if female) of sessions by keepers, errors and animal in them."""
        slipped = [(0.95 * m + 0.05 * f, 0.95 * f + 0.05 * m) for m, f in pairs]
        straight = [_product(pair[n] for pair in slipped) for n in (0, 1)]
        return (
            0.995 * straight[0] + 0.005 * straight[1],
            0.998 * straight[1] + 0.002 * straight[0],
        )

    seen = tuple(map(exp, reading(first, BALL, SECOND.base).pair))
    verified = 0.0
    for outcome in outcomes:
        both = joint(seen, tuple(map(exp, outcome.base.pair)))
        if both[0] / sum(both) >= 0.99:
            verified += sum(both) / sum(joint(seen))
    assert 0.8 < verified < 0.95
    assert check.verified == pytest.approx(verified)


def _product(factors):
    result = 1.0
    for factor in factors:
        result *= factor
    return result


@pytest.mark.parametrize("parameters", [load_parameters("sexing-1"), SECOND, PARAMETERS])
@pytest.mark.parametrize("kind", [BALL, BOA, CORN])
def test_classes_of_depths_hold_every_pair_once(kind, parameters):
    """Every pair of depths read as a call of its own. Depths beyond the ranges come as often as
    they are, and say what reading says of them, which from version 3 on is what the ends say, and
    far beyond them nothing."""
    outcomes = prospect("probing", kind, parameters).outcomes
    sums = {(one.conclusion, n): [0.0, 0.0] for n, one in enumerate(outcomes)}
    for left, right in product(range(61), repeat=2):
        ratio = log_ratio(_read(left, right, kind, parameters.base))
        into = _class(ratio, outcomes)
        if into is not None:
            both = sum(map(exp, _read(left, right, kind, _as_they_are(parameters.base))))
            sums[into][0] += both / (1 + exp(-ratio))
            sums[into][1] += both / (1 + exp(ratio))
    for (_, n), found in sums.items():
        assert tuple(map(exp, outcomes[n].base.pair)) == pytest.approx(found, rel=1e-9)
    for n in (0, 1):
        assert 0.9 < sum(found[n] for found in sums.values()) <= 1.01


def _read(left, right, kind, numbers):
    """What the pair says under the conclusion it speaks for."""
    pairs = [
        reading(call(sex, probed(left / 2, right / 2)), kind, numbers).pair
        for sex in ("male", "female")
    ]
    return max(pairs, key=lambda one: abs(log_ratio(one)))


def _as_they_are(numbers):
    return ParameterSet({name: n for name, n in numbers.numbers.items() if name != "depth.held"})


def _class(ratio, outcomes):
    """Where a pair belongs: by sex and by 3, 30 and 1,000 to 1."""
    sex = "male" if ratio > 0 else "female"
    own = [n for n, one in enumerate(outcomes) if one.conclusion == sex]
    edges = [log(30), log(1000)]
    if abs(ratio) <= log(3):
        return None
    return sex, own[sum(abs(ratio) > edge for edge in edges)]


@settings(max_examples=30)
@given(RECORDS, TAXA)
def test_expectations_stay_expectations(record, kind):
    candidate = Candidate("x", kind, "adult", tuple(record), stakes=("open_sale",))
    for check in plan_of(candidate).checks:
        assert 0 <= check.loss_after <= min(0.1, check.loss_now + 0.002)
        assert 0 <= check.verified <= 1 + 1e-9
        assert check.benefit >= planning_number("worth", "least")
        assert all(reason.endswith(".") for reason in check.reasons)


@pytest.mark.parametrize(
    ("method", "by", "slack"),
    [
        ("probing", IDA, 0.002),
        ("dna", LAB, 0.002),
        # Listed findings are ratios: 7 in 100 females show a vet nothing, no males do.
        ("ultrasound", VERA, 0.02),
    ],
)
def test_what_is_expected_of_the_probability_is_what_it_is_now(method, by, slack):
    """The law of total probability, but for what undetermined checks leave out."""
    for candidate in (animal_of(taxon=CORN), animal_of(owner(), taxon=CORN)):
        weighing = Weighing.of(candidate, LATER, EMPTY, DEFAULT_POLICY, SECOND)
        found = weighing.follow(method, by)
        assert sum(chance for chance, _ in found) == pytest.approx(1)
        mean = sum(p * case.standing(DEFAULT_POLICY).p_male for p, case in found)
        assert mean == pytest.approx(weighing.now.p_male, abs=slack)


@pytest.mark.parametrize(
    ("calls", "expected"),
    [
        ((), 0.1),
        ((male("ash"), female("birch")), 0.1),
        ((male("ash"),), None),
        ((female("ash"), female("birch")), None),
    ],
)
def test_silence_costs_what_the_policy_prefers_it_to(calls, expected):
    found = standing(*calls)
    if expected is None:
        expected = min(found.p_male, 1 - found.p_male)
    assert loss(found, DEFAULT_POLICY) == pytest.approx(expected)


# --- what is proposed -------------------------------------------------------------------


def test_a_verified_animal_is_left_alone():
    assert not plan_of(animal_of(male("ash"), male("birch"))).checks
    decisive = call("female", Endoscopy("ovaries"), "vera", role="veterinarian")
    assert not plan_of(animal_of(decisive, stakes=("open_sale",))).checks


def test_an_animal_that_is_neither_male_nor_female_is_left_alone():
    """No check changes what was seen in it."""
    both = call("undetermined", Endoscopy("both"), "vera", role="veterinarian")
    found = animal_of(male("ash"), both, stakes=("open_sale",))
    assert standing(*found.evidence).reasons == ("atypical",)
    assert plan_of(found, parameters=PARAMETERS).checks == ()


def test_what_hangs_on_it_multiplies():
    none, pairing, sale = (
        check_of(animal_of(owner(), stakes=stakes), "ultrasound", VERA)
        for stakes in ((), ("planned_pairing",), ("open_sale", "planned_pairing"))
    )
    worth = none.benefit + none.burden
    assert pairing.benefit + pairing.burden == pytest.approx(3 * worth)
    assert sale.benefit + sale.burden == pytest.approx(5 * worth)
    assert "A buyer is waiting for it." in sale.reasons
    assert "A pairing is planned with it." in sale.reasons


def test_every_invasive_check_before_makes_the_next_weigh_more():
    long_ago = tuple(("probing", n * 20 * DAY) for n in range(1, 3))
    fresh = check_of(animal_of(), "probing", IDA)
    tired = check_of(animal_of(condition=Condition(examined=long_ago)), "probing", IDA)
    assert tired.burden == pytest.approx(2 * fresh.burden)
    assert tired.benefit < fresh.benefit
    assert any("2 invasive checks already" in reason for reason in tired.reasons)


def test_a_blind_examiner_comes_first():
    knowing = replace(IVO, knows=frozenset({"x"}))
    checks = plan_of(animal_of(owner()), knowing, IDA).checks
    assert [(one.examiner, one.blind) for one in checks] == [("ida", True), ("ivo", False)]
    assert "The record lacks a blind check, and this would be one." in checks[0].reasons
    assert any("knows an earlier answer" in reason for reason in checks[1].reasons)
    assert checks[1].verified == 0 < checks[0].verified


def test_who_has_examined_it_before_is_not_blind():
    checks = plan_of(animal_of(male("ida")), IDA, IVO).checks
    assert {one.examiner: one.blind for one in checks} == {"ida": False, "ivo": True}
    assert checks[0].examiner == "ivo"


def test_who_has_a_share_does_not_meet_the_rule():
    sharing = replace(IVO, interested_in=frozenset({"x"}))
    check = check_of(animal_of(owner()), "probing", sharing)
    assert check.verified == 0
    assert "This examiner has a share in the animal." in check.reasons


def test_a_reported_check_is_not_blind_though_nothing_anchors_it():
    """It moves the probability as a blind one would, and meets no rule that asks for one."""
    plain = check_of(animal_of(owner()), "ultrasound", VERA)
    check = check_of(animal_of(owner()), "ultrasound", replace(VERA, reported=True))
    assert (plain.blind, check.blind) == (True, False)
    assert plain.verified > check.verified == 0
    assert check.loss_after == plain.loss_after
    assert "A call reported for someone else does not count as the blind one." in check.reasons


def test_agreement_of_a_crowd_leaves_little_for_one_more_of_the_same():
    """Probings share the doubt about the animal; another method does not."""
    crowd = [male(f"keeper-{n}", blind=False) for n in range(5)]
    candidate = animal_of(*crowd, stakes=("open_sale",), condition=Condition(examined=()))
    found = {(one.method, one.examiner): one.loss_after for one in plan_of(candidate).checks}
    assert found["ultrasound", "vera"] < found["probing", "vera"]


def test_a_contested_animal_needs_another_kind_of_evidence():
    candidate = animal_of(male("ash"), female("birch"), taxon=CORN)
    checks = plan_of(candidate).checks
    assert checks[0].method == "dna"
    assert "Its calls contradict each other." in checks[0].reasons
    verified = {(one.method, one.examiner): one.verified for one in checks}
    assert verified["dna", "lab"] > 0.9
    assert verified["probing", "vera"] == verified["probing", "ida"] == 0


def test_depths_nobody_knows_leave_the_conclusion():
    check = check_of(animal_of(taxon=SCRUB), "probing", VERA)
    assert check.loss_after < check.loss_now


def test_scale_counts_tell_only_outside_the_overlap():
    """Massasauga: 25 to 29 in both sexes (Klauber); about half of all lie outside."""
    assert 0.4 < prospect("scale_count", MASSASAUGA, SECOND).informative < 0.6
    assert prospect("scale_count", BALL, SECOND).informative == 0
    check = check_of(animal_of(taxon=MASSASAUGA), "scale_count", VERA)
    assert 0.07 < check.loss_after < 0.1


def test_the_reasons_in_words():
    found = check_of(animal_of(owner(), taxon=CORN, stakes=("open_sale",)), "dna", LAB).reasons
    assert found[0] == "It stands as probable male; 5.2 in 100 such would be wrong."
    assert found[1].startswith("A DNA test by a laboratory would on average bring the chance")
    assert "leave it verified with a chance of" in found[1]
    unsexed = check_of(animal_of(), "probing", VERA).reasons
    assert unsexed[0] == "Its sex is not settled."
    assert "an unsettled sex counted as at most 10" in unsexed[1]


# --- what is feasible -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("candidate", "method", "by", "word"),
    [
        (animal_of(), "ultrasound", IDA, "in this role"),
        (animal_of(), "endoscopy", LAB, "in this role"),
        (animal_of(taxon=CORN), "dna", VERA, "in this role"),
        (animal_of(), "probing", replace(IDA, methods=frozenset({"scale_count"})), "does not use"),
        (animal_of(), "eversion", IDA, "first days"),
        (animal_of(stage="juvenile"), "eversion", VERA, "first days"),
        (animal_of(stage="hatchling"), "endoscopy", VERA, "too young"),
        (animal_of(stage="hatchling"), "radiography", VERA, "too young"),
        (animal_of(), "dna", LAB, "No DNA test"),
        (animal_of(taxon=taxon("morelia_spilota")), "dna", LAB, "chromosomes"),
        (animal_of(), "scale_count", IDA, "scale counts"),
        (animal_of(condition=Condition(ill=True)), "ultrasound", VERA, "ill"),
        (animal_of(condition=Condition(in_shed=True)), "ultrasound", VERA, "in shed"),
        (animal_of(condition=Condition(gravid=True)), "probing", VERA, "gravid"),
        (animal_of(condition=Condition(too_small=True)), "probing", IDA, "too small"),
        (animal_of(condition=Condition(fed_at=LATER - 6 * DAY)), "probing", IDA, "fed"),
        (animal_of(condition=Condition(fed_at=LATER - 2 * DAY)), "ultrasound", VERA, "fed"),
        (animal_of(male(at=LATER - 10 * DAY)), "probing", IDA, "14 days"),
        (animal_of(condition=Condition(examined=(("probing", 0),) * 4)), "probing", IDA, "4 times"),
    ],
)
def test_what_keeps_a_check_from_being_made(candidate, method, by, word):
    why = obstacles(candidate, method, by, LATER)
    assert len(why) == 1
    assert word in why[0]
    ruled_out = {(one.method, one.examiner): one.why for one in plan_of(candidate, by).ruled_out}
    assert ruled_out[method, by.examiner] == why


@pytest.mark.parametrize(
    ("candidate", "method", "by"),
    [
        (animal_of(stage="hatchling"), "eversion", IDA),
        (animal_of(stage="hatchling"), "probing", IDA),
        (animal_of(condition=Condition(gravid=True)), "ultrasound", VERA),
        (animal_of(condition=Condition(fed_at=LATER - 7 * DAY)), "probing", IDA),
        (animal_of(condition=Condition(fed_at=LATER - 3 * DAY)), "ultrasound", VERA),
        (animal_of(male(at=LATER - 14 * DAY)), "probing", IDA),
        (animal_of(taxon=CORN, condition=Condition(ill=True, in_shed=True)), "dna", LAB),
        (animal_of(taxon=MASSASAUGA), "scale_count", IDA),
    ],
)
def test_what_does_not(candidate, method, by):
    assert obstacles(candidate, method, by, LATER) == ()


def test_withdrawn_checks_still_happened():
    """Only calls that count are evidence; the animal has been through the others too."""
    examined = (("probing", LATER - 5 * DAY),)
    assert not obstacles(animal_of(), "probing", IDA, LATER)
    withdrawn = animal_of(condition=Condition(examined=examined))
    assert obstacles(withdrawn, "probing", IDA, LATER)

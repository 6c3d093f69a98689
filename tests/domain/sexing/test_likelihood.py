"""The combining code against worked examples of others (tests/vectors/bayes.json, whose
``source`` member says where each was read)."""

import json
from fractions import Fraction
from math import exp, inf, log
from pathlib import Path

import pytest

from scalewitness.domain.sexing.likelihood import (
    NOTHING,
    combine,
    flip,
    log_odds,
    log_ratio,
    mix,
    total,
)

VECTORS = json.loads((Path(__file__).parents[2] / "vectors" / "bayes.json").read_text())
DATA, EXPECTED = VECTORS["data"], VECTORS["expected"]

CERTAIN_MALE, CERTAIN_FEMALE = (0.0, -inf), (-inf, 0.0)


def _called(conclusion, wrong_if_male, wrong_if_female):
    """What the model makes of a faultless sign seen by an examiner who errs."""
    sign = CERTAIN_MALE if conclusion == "male" else CERTAIN_FEMALE
    return flip(sign, (wrong_if_male, wrong_if_female))


def test_two_independent_tests():
    """Textbook exercise: prevalence 0.1, two tests each right nine times in ten."""
    prior = DATA["two_independent_tests_prior_10_percent"]["prior"]
    expected = EXPECTED["two_independent_tests_prior_10_percent"]
    plus, minus = (log(0.9), log(0.1)), (log(0.1), log(0.9))
    computed = expected["computed"]
    assert combine([plus], prior) == pytest.approx(computed["after_first"], abs=1e-9)
    assert combine([plus, plus], prior) == pytest.approx(computed["after_second"], abs=1e-9)
    assert combine([plus, minus], prior) == pytest.approx(computed["one_plus_one_minus"], abs=1e-9)
    assert combine([minus, minus], prior) == pytest.approx(computed["two_minus"], abs=1e-9)
    assert combine([plus, plus], prior) == pytest.approx(
        expected["published"]["posterior"], abs=5e-4
    )


@pytest.mark.parametrize("outcome", ["+", "?", "-"])
def test_a_result_with_three_outcomes(outcome):
    """Ask Dr. Math: a tuberculosis test with an inconclusive outcome."""
    data, expected = DATA["three_outcome_test"], EXPECTED["three_outcome_test"]
    pair = (
        log(data["p_result_given_disease"][outcome]),
        log(data["p_result_given_none"][outcome]),
    )
    posterior = combine([pair], data["prior"])
    assert posterior == pytest.approx(expected["computed"][f"posterior_{outcome}"], abs=1e-9)
    published = expected["published"].get(f"posterior_{outcome}")
    if published:
        assert posterior == pytest.approx(float(Fraction(published)), abs=1e-12)


def test_likelihood_ratios_of_a_two_by_two_table():
    """Diagnostic test calculator of the University of Illinois: 32, 3, 49, 28."""
    counts, expected = DATA["likelihood_ratios_2x2"], EXPECTED["likelihood_ratios_2x2"]
    ill, well = (sum(counts[group].values()) for group in ("diseased", "healthy"))
    prior = ill / (ill + well)
    computed = expected["computed"]
    for sign, name in (("+", "positive"), ("-", "negative")):
        pair = (log(counts["diseased"][sign] / ill), log(counts["healthy"][sign] / well))
        ratio, posterior = exp(log_ratio(pair)), combine([pair], prior)
        assert ratio == pytest.approx(computed[f"lr_{name}"], abs=1e-9)
        assert round(ratio, 2) == expected["published"][f"lr_{name}"]
        assert posterior == pytest.approx(computed[f"posterior_{name}"], abs=1e-9)
        assert round(posterior * 100) == expected["published"][f"posterior_{name}_percent"]


@pytest.mark.parametrize(
    "row", EXPECTED["serial_calls_one_examiner_type"]["rows"], ids=lambda row: str(row[:5])
)
@pytest.mark.some(40)
def test_serial_calls_of_one_kind_of_examiner(row):
    """k "female" calls of n; here the examiner's slips go through ``flip``."""
    prior_female, right_if_female, right_if_male, n, k, ratio, posterior_female = row
    wrong = (1 - right_if_male, 1 - right_if_female)
    pairs = [_called("female" if i < k else "male", *wrong) for i in range(n)]
    assert -log_ratio(total(pairs)) == pytest.approx(ratio, abs=1e-8)
    assert 1 - combine(pairs, 1 - prior_female) == pytest.approx(posterior_female, abs=1e-9)


@pytest.mark.parametrize("case", EXPECTED["mixed_examiners"]["cases"])
def test_examiners_of_different_accuracy(case):
    examiners = DATA["mixed_examiners"]["examiners"]
    pairs = []
    for entry, expected in zip(case["calls"], case["posterior_after_each_call"], strict=True):
        name, sign = entry
        right = examiners[name]
        wrong = (1 - right["p_call_male_if_male"], 1 - right["p_call_female_if_female"])
        pairs.append(_called("female" if sign == "+" else "male", *wrong))
        assert 1 - combine(pairs, 1 - case["prior"]) == pytest.approx(expected, abs=1e-9)
    assert -log_ratio(total(pairs)) == pytest.approx(case["log_likelihood_ratio"], abs=1e-8)


@pytest.mark.parametrize("prior", [1e-6, 0.03, 0.5, 0.97])
def test_without_evidence_the_prior_stands(prior):
    assert combine([], prior) == pytest.approx(prior, rel=1e-12)
    assert combine([NOTHING, (-3.0, -3.0)], prior) == pytest.approx(prior, rel=1e-12)


def test_the_order_of_evidence_does_not_move_the_last_bit():
    pairs = [(0.1 * n, -0.37 * n) for n in range(-40, 40)]
    assert combine(pairs) == combine(pairs[::-1]) == combine(pairs[1::2] + pairs[::2])


def test_hundreds_of_tiny_likelihoods_do_not_vanish():
    """Their product, 10⁻¹⁵⁰⁰, is far below the smallest double."""
    assert combine([(log(2e-5), log(1e-5))] * 3 + [(log(1e-5), log(1e-5))] * 300) == pytest.approx(
        8 / 9
    )


@pytest.mark.parametrize("share", [0.0, 1e-9, 0.25, 0.5, 1.0])
def test_mixing_in_logarithms_is_mixing(share):
    mixed = (1 - share) * 0.3 + share * 0.002
    assert exp(mix(log(0.3), log(0.002), share)) == pytest.approx(mixed, rel=1e-12)


def test_mixing_far_below_the_smallest_double():
    assert mix(-2000.0, -2010.0, 0.5) == pytest.approx(-2000 + log(0.5 * (1 + exp(-10))))


def test_a_fair_coin_between_the_sexes_says_nothing():
    assert log_ratio(flip((log(0.9), log(0.01)), (0.5, 0.5))) == 0


def test_what_rules_out_both_is_refused():
    with pytest.raises(ValueError, match="both"):
        combine([CERTAIN_MALE, CERTAIN_FEMALE])


def test_log_odds_at_the_ends():
    assert (log_odds(0.0), log_odds(1.0)) == (-inf, inf)
    assert log_odds(0.9) == pytest.approx(log(9))

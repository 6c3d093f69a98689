"""Two calls that go wrong together (tests/vectors/bayes.json)."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.correlated import (
    ALL,
    TwoCalls,
    covariance_range,
    evidence,
    female_after,
)

CASES = item("bayes", "two_correlated_tests")
SIGNS = dict(zip(("++", "+-", "-+", "--"), ALL, strict=True))


@pytest.mark.parametrize("case", CASES.expected["cases"], ids=range(len(CASES.expected["cases"])))
def test_conditional_covariance(case):
    """Model of Vacek 1985 and Gardner et al. 2000; cases computed with Python's math."""
    within = CASES.tolerance["all"]
    if_female = TwoCalls(*case["se"], case["correlation_if_female"])
    if_male = TwoCalls(*(1 - sp for sp in case["sp"]), case["correlation_if_male"])
    assert if_female.covariance == pytest.approx(case["covariance_if_female"], abs=within)
    assert if_male.covariance == pytest.approx(case["covariance_if_male"], abs=within)
    largest = case["largest_possible_positive_covariance_if_female"]
    assert covariance_range(*case["se"])[1] == pytest.approx(largest, abs=within)
    alone = TwoCalls(if_male.first, if_male.second), TwoCalls(if_female.first, if_female.second)
    for sign, results in SIGNS.items():
        for of, key in ((if_female, "joint_if_female"), (if_male, "joint_if_male")):
            assert of.chance(results) == pytest.approx(case[key][sign], abs=within)
        found, expected = (
            female_after(if_male, if_female, results, case["prior"]),
            case["posterior"],
        )
        if expected[sign] is None:
            assert found is None
        else:
            assert found == pytest.approx(expected[sign], abs=within)
        independent = case["posterior_if_wrongly_taken_as_independent"][sign]
        assert female_after(*alone, results, case["prior"]) == pytest.approx(
            independent, abs=within
        )


def test_a_second_call_that_only_repeats_adds_nothing():
    """Note in the file: with correlation 1 and equal errors, ++ says what one + says."""
    tied = TwoCalls(0.1, 0.1, 1), TwoCalls(0.9, 0.9, 1)
    one = 0.1 * 0.9 / (0.1 * 0.9 + 0.9 * 0.1)
    assert female_after(*tied, (True, True), 0.1) == pytest.approx(one)


CHANCES = st.floats(0.05, 0.95)


@given(CHANCES, CHANCES, st.floats(-1, 1))
def test_the_joint_chances_are_a_distribution_with_the_right_margins(first, second, share):
    least, most = covariance_range(first, second)
    spread = (first * (1 - first) * second * (1 - second)) ** 0.5
    correlation = (most if share > 0 else -least) * share / spread
    calls = TwoCalls(first, second, correlation)
    joint = {results: calls.chance(results) for results in ALL}
    assert sum(joint.values()) == pytest.approx(1)
    assert joint[True, True] + joint[True, False] == pytest.approx(first)
    assert joint[True, True] + joint[False, True] == pytest.approx(second)


@given(st.floats(0.55, 0.95), st.floats(0.0, 0.9))
def test_positive_dependence_never_makes_agreement_say_more(right, correlation):
    assume(correlation > 0.01)
    alone = evidence(TwoCalls(1 - right, 1 - right), TwoCalls(right, right), (True, True))
    tied = evidence(
        TwoCalls(1 - right, 1 - right, correlation),
        TwoCalls(right, right, correlation),
        (True, True),
    )
    assert tied[1] - tied[0] < alone[1] - alone[0]


def test_a_result_that_only_one_sex_can_give():
    only_female = evidence(TwoCalls(0, 0), TwoCalls(0.9, 0.9), (True, True))
    assert only_female[0] == float("-inf")
    assert female_after(TwoCalls(0, 0), TwoCalls(0.9, 0.9), (True, True)) == 1


@pytest.mark.parametrize("numbers", [(1.2, 0.5, 0), (0.9, 0.2, 0.9), (0.9, 0.9, -0.5)])
def test_impossible_pairs_are_refused(numbers):
    with pytest.raises(ValueError, match=r"between 0 and 1|so correlated"):
        TwoCalls(*numbers)

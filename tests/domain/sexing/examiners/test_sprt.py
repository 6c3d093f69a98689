"""Sequential qualification against printed plans (tests/vectors/sprt.json)."""

from math import log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.sprt_exact import operating
from bench.examiners.sprt_wald import (
    chance_qualified,
    expected_calls,
    first_decision,
    lead_needed,
    log_ratio,
)
from scalewitness.domain.sexing.examiners.sprt import (
    SequentialPlan,
    accept_at_most,
    decide,
    reject_at_least,
)

FILE = "sprt"
NIST = item(FILE, "nist_handbook_6.2.6_sequential_plan")
MONTGOMERY = item(FILE, "montgomery_item_by_item")
R_SPRT = item(FILE, "r_package_sprt_bernoulli")
SAFETY = item(FILE, "gsdesign_truncated_safety_design")
RESPONSE = item(FILE, "gsdesign_response_rate_design")
PYTHON = item(FILE, "python_sprt_binomial_boundaries")
WALD = item(FILE, "wald1947_p0_0.1_p1_0.3")
SYMMETRIC = item(FILE, "symmetric_examiner_calls")
ASYMMETRIC = item(FILE, "asymmetric_examiner_calls")

DESIGNS = {
    "nist": NIST,
    "montgomery": MONTGOMERY,
    "r": R_SPRT,
    "safety": SAFETY,
    "response": RESPONSE,
    "python": PYTHON,
    "wald": WALD,
}


def exact_points(case):
    """The rates at which a file gives exact characteristics, and these."""
    points = case.expected.get("exact", {}) | {
        name.removeprefix("exact_"): values
        for name, values in case.expected["computed"].items()
        if name.startswith("exact_at")
    }
    return {name.removeprefix("at_"): values for name, values in points.items()}


def plan_of(case):
    return SequentialPlan(*(case.data[name] for name in ("p0", "p1", "alpha", "beta")))


def assert_operates(found, expected):
    values = {
        "p_accept_H0": found.qualified,
        "p_accept_H1": found.not_qualified,
        "p_undecided": found.undecided,
        "asn": found.expected_calls,
    }
    assert values == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("name", DESIGNS)
def test_lines_and_walds_approximations(name):
    """Computed with Python's math."""
    plan, computed = plan_of(DESIGNS[name]), DESIGNS[name].expected["computed"]
    values = {
        "ln_A": plan.log_a,
        "ln_B": plan.log_b,
        "k": plan.k,
        "slope": plan.slope,
        "accept_intercept": plan.accept_intercept,
        "reject_intercept": plan.reject_intercept,
        "h1_accept": -plan.accept_intercept,
        "h2_reject": plan.reject_intercept,
        "llr_step_success": plan.wrong_step,
        "llr_step_failure": plan.right_step,
        "asn_wald_at_p0": expected_calls(plan, plan.p0),
        "asn_wald_at_p1": expected_calls(plan, plan.p1),
        "asn_wald_at_slope": expected_calls(plan, plan.slope),
        "oc_wald_at_slope": chance_qualified(plan, plan.slope),
    }
    for key, value in values.items():
        assert value == pytest.approx(computed[key], abs=1e-6), key
    assert log(computed["A"]) == pytest.approx(plan.log_a, abs=1e-6)
    assert log(computed["B"]) == pytest.approx(plan.log_b, abs=1e-6)


@pytest.mark.parametrize("name", DESIGNS)
def test_the_operating_characteristic_passes_through_the_two_errors(name):
    """Wald 1947: L(p0) = 1 − α and L(p1) = β by construction."""
    plan = plan_of(DESIGNS[name])
    assert chance_qualified(plan, plan.p0) == pytest.approx(1 - plan.alpha, abs=1e-9)
    assert chance_qualified(plan, plan.p1) == pytest.approx(plan.beta, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "point"), [(name, point) for name, of in DESIGNS.items() for point in exact_points(of)]
)
def test_exact_characteristics_of_open_and_truncated_tests(name, point):
    """Exact dynamic programming with numpy 2.4.6."""
    case, plan = DESIGNS[name], plan_of(DESIGNS[name])
    rate = {"p0": plan.p0, "p1": plan.p1}.get(point) or float(point)
    looks = {"first": case.data.get("first_look", 1), "last": case.data.get("last_look")}
    assert_operates(operating(plan, rate, **looks), exact_points(case)[point])


def test_the_plan_of_the_nist_handbook():
    """NIST/SEMATECH e-Handbook 6.2.6, table for n = 0 to 100 and the worked sequence."""
    plan, expected = plan_of(NIST), NIST.expected
    for n, most, least in expected["table"]:
        assert (accept_at_most(plan, n), reject_at_least(plan, n)) == (most, least)
    ends = expected["sequence_decision"]
    assert (ends["decision"], ends["count"]) == ("reject", sum(NIST.data["observed_sequence"]))
    decided = first_decision(plan, map(bool, NIST.data["observed_sequence"]))
    assert decided == ("not_qualified", ends["after_item"])
    lines = [plan.accept_intercept, plan.slope, plan.reject_intercept]
    assert lines == pytest.approx([-0.939, 0.04, 1.205], abs=0.0005)


def test_item_by_item_sampling_of_montgomery():
    """Montgomery, Introduction to Statistical Quality Control (parameters from memory)."""
    plan, published = plan_of(MONTGOMERY), MONTGOMERY.expected["published"]
    assert plan.k / log(10) == pytest.approx(published["k_log10"], abs=5e-6)
    assert plan.k / log(10) == pytest.approx(MONTGOMERY.expected["computed"]["k_log10"], abs=1e-6)
    assert -plan.accept_intercept == pytest.approx(published["h1"], abs=0.005)
    assert plan.reject_intercept == pytest.approx(published["h2"], abs=0.005)
    assert plan.slope == pytest.approx(published["slope"], abs=0.0005)


def test_printed_output_of_r_package_sprt():
    """R package SPRT 1.1.0, vignette."""
    plan, seen = plan_of(R_SPRT), R_SPRT.data["observations"]
    ratios = [log_ratio(plan, sum(seen[:n]), n) for n in range(1, len(seen) + 1)]
    published, computed = R_SPRT.expected["published"], R_SPRT.expected["computed"]
    assert ratios[:7] == pytest.approx(published["cumulative_llr"], abs=5e-7)
    assert ratios == pytest.approx(computed["cumulative_llr_all_12"], abs=1e-6)
    assert first_decision(plan, map(bool, seen)) == ("not_qualified", published["n_decision"])
    assert (plan.log_a, plan.log_b) == pytest.approx(
        (published["ln_A"], published["ln_B"]), abs=5e-7
    )


@pytest.mark.parametrize("row", range(8))
def test_a_truncated_design(row):
    """R package gsDesign, binomialSPRT looked at after every item from 4 to 75."""
    published = SAFETY.expected["published"]["rows"][row]
    rate, low, high, calls = SAFETY.expected["computed"]["rows"][row]
    found = operating(plan_of(SAFETY), rate, first=4, last=75)
    values = (found.qualified, found.not_qualified, found.expected_calls)
    assert values[:2] == pytest.approx((low, high), abs=1e-6)
    assert values[2] == pytest.approx(calls, abs=5e-5)
    assert rate == published[0]
    assert values[:2] == pytest.approx(published[1:3], abs=0.0005)
    assert values[2] == pytest.approx(published[3], abs=0.05)


def test_the_lines_of_the_truncated_design():
    plan, said = plan_of(SAFETY), SAFETY.expected["published"]["text"]
    computed = SAFETY.expected["computed"]
    first = {m: next(n for n in range(200) if accept_at_most(plan, n) == m) for m in (0, 1)}
    assert first[0] == said["accept_with_0_events_from_n"] == computed["first_n_accepting_0_events"]
    assert first[1] == computed["first_n_accepting_1_event"]
    for least, (start, end) in computed["reject_bands"].items():
        assert {reject_at_least(plan, n) for n in range(start, end + 1)} == {int(least)}
    assert said["reject_with_4_events_for_n"] == computed["reject_bands"]["4"]
    assert said["reject_with_5_events_for_n"] == computed["reject_bands"]["5"]


def test_a_design_that_ends_at_twenty_five():
    """R package gsDesign, vignette binomialSPRTExample."""
    plan, published = plan_of(RESPONSE), RESPONSE.expected["published"]
    for n in (10, 25):
        lines = [accept_at_most(plan, n), reject_at_least(plan, n)]
        assert lines == list(published[f"at_n_{n}"].values())
        assert lines == RESPONSE.expected["computed"][f"at_n_{n}"]
    found = operating(plan, plan.p0, first=10, last=25)
    assert found.not_qualified < published["type_1_error_below"]
    assert found.qualified > published["probability_of_accepting_at_p0_above"]


def test_printed_lines_of_a_python_package():
    """Python package sprt, notebook SPRT_bernoulli: telling 0.55 from 0.5."""
    plan = plan_of(PYTHON)
    for which, within in (("published", 0.0005 + 1e-9), ("computed", 1e-6)):
        for n, low, high in PYTHON.expected[which]["rows"]:
            found = (plan.slope * n + plan.accept_intercept, plan.slope * n + plan.reject_intercept)
            assert found == pytest.approx((low, high), abs=max(within, 1e-6))


def test_the_example_of_wald():
    """Wald 1947 (the four parameters from memory)."""
    plan = plan_of(WALD)
    for n, most, least in WALD.expected["computed"]["acceptance_and_rejection_numbers"]:
        assert (accept_at_most(plan, n), reject_at_least(plan, n)) == (most, least)


@pytest.mark.parametrize("row", SYMMETRIC.expected["computed"], ids=lambda row: str(row[:2]))
def test_how_far_ahead_one_sex_must_be(row):
    """Gambler's ruin in closed form, checked by exact dynamic programming."""
    rate, alpha, per_call, lead, error, calls, wald = row
    found = lead_needed(rate, alpha)
    assert (found.lead, found.error, found.expected_calls) == pytest.approx(
        (lead, error, calls), abs=1e-6
    )
    plan = SequentialPlan(rate, 1 - rate, alpha, alpha)
    assert plan.wrong_step == pytest.approx(per_call, abs=1e-6)
    assert expected_calls(plan, rate) == pytest.approx(wald, abs=1e-6)
    exact = operating(plan, rate)
    assert exact.not_qualified == pytest.approx(error, abs=1e-6)
    assert exact.expected_calls == pytest.approx(calls, abs=1e-6)
    assert exact.not_qualified <= alpha + 1e-12


@pytest.mark.parametrize("row", ASYMMETRIC.expected["computed"], ids=lambda row: str(row[:4]))
def test_calls_with_different_errors_for_the_sexes(row):
    """Exact dynamic programming with numpy 2.4.6: p0 and p1 are the chances of the call
    "female" for a male and for a female."""
    *four, slope, accept, reject, alpha, calls_male, beta, calls_female = row
    plan = SequentialPlan(*four)
    lines = (plan.slope, plan.accept_intercept, plan.reject_intercept)
    assert lines == pytest.approx((slope, accept, reject), abs=1e-6)
    if_male, if_female = operating(plan, plan.p0), operating(plan, plan.p1)
    found = (if_male.not_qualified, if_male.expected_calls)
    assert found == pytest.approx((alpha, calls_male), abs=1e-6)
    found = (if_female.qualified, if_female.expected_calls)
    assert found == pytest.approx((beta, calls_female), abs=1e-6)


PLANS = st.builds(
    lambda p0, gap, alpha, beta: SequentialPlan(p0, p0 + gap, alpha, beta),
    st.floats(0.01, 0.3),
    st.floats(0.05, 0.5),
    st.floats(0.01, 0.2),
    st.floats(0.01, 0.2),
)


@given(PLANS, st.integers(0, 150))
def test_the_lines_never_cross_and_more_errors_never_help(plan, calls):
    order = {"qualified": 0, "undecided": 1, "not_qualified": 2}
    ranks = [order[decide(plan, wrong, calls)] for wrong in range(calls + 1)]
    assert ranks == sorted(ranks)


@given(PLANS, st.integers(0, 150).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_lines_are_the_likelihood_ratio(plan, counts):
    wrong, calls = counts
    ratio, decision = log_ratio(plan, wrong, calls), decide(plan, wrong, calls)
    if abs(ratio - plan.log_a) > 1e-6 and abs(ratio - plan.log_b) > 1e-6:
        assert (decision == "not_qualified") == (ratio > plan.log_a)
        assert (decision == "qualified") == (ratio < plan.log_b)


@settings(max_examples=25)
@given(PLANS)
def test_both_errors_are_kept_exactly_within_walds_bounds(plan):
    """Wald 1947: α' ≤ α / (1 − β) and β' ≤ β / (1 − α)."""
    good, bad = operating(plan, plan.p0), operating(plan, plan.p1)
    assert good.not_qualified <= plan.alpha / (1 - plan.beta) + 1e-9
    assert bad.qualified <= plan.beta / (1 - plan.alpha) + 1e-9
    assert good.undecided < 1e-12


@settings(max_examples=25)
@given(PLANS)
def test_the_worse_the_examiner_the_less_likely_to_qualify(plan):
    rates = [plan.p0 / 2, plan.p0, plan.slope, plan.p1, (1 + plan.p1) / 2]
    for chance in (
        [chance_qualified(plan, rate) for rate in rates],
        [operating(plan, rate, last=200).qualified for rate in rates],
    ):
        assert chance == sorted(chance, reverse=True)


def test_undecided_until_something_is_settled():
    plan = SequentialPlan(0.02, 0.1, 0.05, 0.1)
    assert decide(plan, 0, 0) == "undecided"
    assert first_decision(plan, []) == ("undecided", 0)
    assert first_decision(plan, [False] * 5) == ("undecided", 5)
    assert operating(plan, 0.05, last=0).undecided == 1


@pytest.mark.parametrize(
    "numbers",
    [(0.1, 0.1, 0.05, 0.1), (0, 0.1, 0.05, 0.1), (0.1, 0.3, 0, 0.1), (0.1, 0.3, 0.6, 0.4)],
)
def test_a_plan_that_tests_nothing_is_refused(numbers):
    with pytest.raises(ValueError, match=r"error rate|errors"):
        SequentialPlan(*numbers)


def test_impossible_counts_and_rates_are_refused():
    plan = SequentialPlan(0.02, 0.1, 0.05, 0.1)
    with pytest.raises(ValueError, match="some of the calls"):
        decide(plan, 3, 2)
    with pytest.raises(ValueError, match="between 0 and 1"):
        chance_qualified(plan, 0.0)
    with pytest.raises(ValueError, match="one half"):
        lead_needed(0.5, 0.05)

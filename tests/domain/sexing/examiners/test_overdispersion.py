"""Clutches that vary, against Geissler's Saxony families
(tests/vectors/binomial_sex_ratio.json: families of twelve, by number of boys)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.ratios import against_expected
from scalewitness.domain.sexing.examiners.goodness import heterogeneity
from scalewitness.domain.sexing.examiners.overdispersion import (
    BetaBinomial,
    against_mean,
    clutches,
    expected,
    moments,
    most_likely,
    overdispersed,
    tarone,
)

SAXONY = item("binomial_sex_ratio", "geissler_saxony_families_of_12")
BOYS, FAMILIES = SAXONY.data["boys"], SAXONY.data["families"]
PUBLISHED, COMPUTED = SAXONY.expected["published"], SAXONY.expected["computed"]
TWELVES = clutches(BOYS, [12] * 13, FAMILIES)


def test_boys_among_the_first_twelve():
    assert sum(FAMILIES) == COMPUTED["families"]
    assert TWELVES.share == pytest.approx(COMPUTED["binomial_p"], rel=1e-5)
    assert TWELVES.share == pytest.approx(PUBLISHED["binomial_p"], abs=5e-7)


def test_most_likely_beta_binomial():
    """Fit as printed in the Wikipedia article on the beta-binomial distribution."""
    fit, computed = most_likely(TWELVES), COMPUTED["beta_binomial_mle"]
    assert (fit.alpha, fit.beta) == pytest.approx((computed["alpha"], computed["beta"]), abs=1e-2)
    published = PUBLISHED["beta_binomial_mle"]
    assert (fit.alpha, fit.beta) == pytest.approx((published["alpha"], published["beta"]), abs=1e-2)
    assert fit.rho == pytest.approx(computed["rho"], abs=5e-7)
    assert fit.log_likelihood == pytest.approx(computed["loglik"], rel=1e-8)
    assert fit.log_likelihood == pytest.approx(PUBLISHED["log_likelihood"], abs=0.05)
    assert 4 - 2 * fit.log_likelihood == pytest.approx(PUBLISHED["aic_beta_binomial"], abs=0.01)


def test_fit_by_moments():
    fit = moments(TWELVES)
    for expected_ in (PUBLISHED["method_of_moments"], COMPUTED["method_of_moments_exact_moments"]):
        assert fit.alpha == pytest.approx(expected_["alpha"], abs=1e-2)
        assert fit.beta == pytest.approx(expected_["beta"], abs=1e-2)


def test_the_binomial_is_the_fit_without_correlation():
    binomial = BetaBinomial(TWELVES.share, 0.0, 0.0)
    numbers = expected(binomial, 12, sum(FAMILIES))
    assert numbers == pytest.approx(COMPUTED["expected_binomial"], abs=1e-3)
    assert numbers == pytest.approx(PUBLISHED["expected_binomial"], abs=0.05)
    fit = against_expected(FAMILIES, numbers, estimated=1)
    assert fit.chi2 == pytest.approx(COMPUTED["chi2_13_cells"], rel=1e-5)
    assert fit.g2 == pytest.approx(COMPUTED["G2_13_cells"], rel=1e-5)
    assert fit.df == COMPUTED["df"]
    assert fit.p_chi2 == pytest.approx(COMPUTED["p_chi2"], rel=1e-4)
    assert fit.p_g2 == pytest.approx(COMPUTED["p_G2"], rel=1e-4)


def test_expected_families_under_the_beta_binomial():
    numbers = expected(most_likely(TWELVES), 12, sum(FAMILIES))
    assert numbers == pytest.approx(COMPUTED["expected_beta_binomial"], abs=2e-3)
    assert numbers == pytest.approx(PUBLISHED["expected_beta_binomial"], abs=0.06)
    assert numbers.sum() == pytest.approx(sum(FAMILIES))


def test_log_likelihood_of_the_binomial_and_its_criterion():
    """The AIC of the printed binomial has one parameter."""
    log_likelihood = float(np.dot(FAMILIES, stats.binom.logpmf(BOYS, 12, TWELVES.share)))
    assert log_likelihood == pytest.approx(COMPUTED["loglik_binomial"], rel=1e-8)
    assert 2 - 2 * log_likelihood == pytest.approx(PUBLISHED["aic_binomial"], abs=0.01)


def test_families_differ_more_than_chance_allows():
    rows = [(boys, 12 - boys) for boys, n in zip(BOYS, FAMILIES, strict=True) for _ in range(n)]
    fit, expected_ = heterogeneity(rows), COMPUTED["homogeneity_chi2"]
    assert fit.chi2 == pytest.approx(expected_["statistic"], rel=1e-5)
    assert fit.df == expected_["df"]
    assert fit.p_chi2 == pytest.approx(expected_["p"], rel=1e-4)
    assert fit.chi2 / fit.df == pytest.approx(expected_["dispersion"], rel=1e-5)
    assert tarone(TWELVES) == pytest.approx(COMPUTED["tarone_z"], rel=1e-5)
    assert overdispersed(TWELVES) < 1e-20


def test_overdispersion_makes_the_test_of_an_even_ratio_more_careful():
    """The pooled test is too optimistic where families vary (note in the file)."""
    even = np.dot(FAMILIES, stats.binom.logpmf(BOYS, 12, 0.5))
    own = np.dot(FAMILIES, stats.binom.logpmf(BOYS, 12, TWELVES.share))
    pooled = stats.chi2.sf(2 * (own - even), 1)
    assert pooled < against_mean(TWELVES) < 1e-15


SIZES = st.lists(st.integers(1, 14), min_size=2, max_size=12)
CLUTCHES = SIZES.flatmap(
    lambda eggs: st.tuples(
        st.tuples(*(st.integers(0, n) for n in eggs)), st.just(eggs), st.sampled_from([0.3, 0.5])
    )
)


@settings(max_examples=40)
@given(CLUTCHES)
def test_nothing_nearby_is_likelier_than_the_most_likely(case):
    """Checked against scipy's beta-binomial distribution, which shares no code with it."""
    males, eggs, mean = case
    of = clutches(males, eggs)
    fit, fixed = most_likely(of), most_likely(of, mean)
    assert fixed.log_likelihood <= fit.log_likelihood + 1e-9
    for rho in (0.001, 0.02, 0.1, 0.4, 0.8):
        for share in (mean, min(max(of.share, 0.01), 0.99)):
            a, b = share * (1 / rho - 1), (1 - share) * (1 / rho - 1)
            other = stats.betabinom.logpmf(males, eggs, a, b).sum()
            assert other <= fit.log_likelihood + 1e-7
            if share == mean:
                assert other <= fixed.log_likelihood + 1e-7


@settings(max_examples=30)
@given(CLUTCHES)
def test_swapping_the_sexes_changes_no_answer(case):
    males, eggs, _ = case
    one = clutches(males, eggs)
    two = clutches([n - k for k, n in zip(males, eggs, strict=True)], eggs)
    assert most_likely(one).rho == pytest.approx(most_likely(two).rho, abs=1e-6)
    assert against_mean(one) == pytest.approx(against_mean(two), abs=1e-6)
    assert tarone(one) == pytest.approx(tarone(two), abs=1e-9)


def test_without_overdispersion_the_fit_is_the_binomial():
    """Clutches more alike than chance: ρ stays at nought."""
    fit = most_likely(clutches([5, 5, 5, 5], [10, 10, 10, 10]))
    assert fit.rho == 0
    assert fit.alpha == fit.beta == float("inf")
    assert fit.log_likelihood == pytest.approx(4 * stats.binom.logpmf(5, 10, 0.5))
    assert moments(clutches([5, 5, 5, 5], [10, 10, 10, 10])).rho == 0


def test_clutches_of_one_sex_each_are_all_correlation():
    of = clutches([8, 0, 7, 0], [8, 6, 7, 9])
    assert most_likely(of).rho > 0.999
    assert against_mean(of) > 0.9


@pytest.mark.parametrize(("males", "eggs"), [([3], [2]), ([-1], [4]), ([0], [0]), ([], [])])
def test_impossible_clutches_are_refused(males, eggs):
    with pytest.raises(ValueError, match="clutch"):
        clutches(males, eggs)


def test_single_eggs_say_nothing_about_variation():
    of = clutches([1, 0, 1], [1, 1, 1])
    assert tarone(of) == 0
    assert moments(of).rho == 0
    assert tarone(clutches([3, 4], [3, 4])) == 0

"""Beta posteriors against worked examples (tests/vectors/bayes.json)."""

from math import fsum

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.beta import above, below, predictive, repeated_calls, summary
from scalewitness.domain.sexing.examiners.beta import interval, quantile, updated

PLACENTA = item("bayes", "placenta_previa_sex_ratio")
RULES = item("bayes", "bayesrules_beta_binomial")
GRID = item("bayes", "beta_binomial_grid")
AHEAD = item("bayes", "beta_binomial_predictive")
UNKNOWN = item("bayes", "unknown_examiner_accuracy")

RATES = st.floats(0.05, 400)


def test_sex_ratio_of_placenta_previa_births():
    """Gelman et al., Bayesian Data Analysis, section 2.4: 437 girls of 980."""
    births, girls = PLACENTA.data["births"], PLACENTA.data["girls"]
    posterior = updated(tuple(PLACENTA.data["prior"]), girls, births - girls)
    assert posterior == (438, 544)
    said = summary(posterior)
    for which in ("book", "published", "computed"):
        expected, within = PLACENTA.expected[which], PLACENTA.tolerance[which]
        assert (said.low, said.high) == pytest.approx(expected["interval95"], abs=within)
        for name in {"mean", "sd", "median"} & expected.keys():
            assert getattr(said, name) == pytest.approx(expected[name], abs=within)
    computed, within = PLACENTA.expected["computed"], PLACENTA.tolerance["computed"]
    assert below(posterior, 0.485) == pytest.approx(computed["p_below_0.485"], abs=within)
    assert below(posterior, 0.5) == pytest.approx(computed["p_below_0.5"], abs=within)


@pytest.mark.parametrize("case", RULES.expected["cases"], ids=lambda case: str(case["prior"]))
def test_summaries_printed_by_r_package_bayesrules(case):
    prior = tuple(case["prior"])
    posterior = updated(prior, case["y"], case["n"] - case["y"])
    published, within = case["published"], RULES.tolerance["published"]
    for numbers, of in ((published["prior"], prior), (published["posterior"][2:], posterior)):
        said = summary(of)
        assert [said.mean, said.mode, said.sd**2, said.sd] == pytest.approx(numbers, abs=within)
    assert list(posterior) == case["computed"]["posterior"]
    within = RULES.tolerance["computed"]
    assert interval(posterior) == pytest.approx(case["computed"]["interval95"], abs=within)
    said = summary(posterior)
    assert [said.mean, said.mode, said.sd**2, said.sd] == pytest.approx(
        [case["computed"][name] for name in ("mean", "mode", "var", "sd")], abs=within
    )


@pytest.mark.parametrize("row", GRID.expected["rows"], ids=lambda row: str(row[:4]))
@pytest.mark.some(30)
def test_accuracy_after_some_checks(row):
    """Computed with scipy 1.17.1: posterior of an accuracy after y right of n."""
    a, b, n, y, *expected = row
    posterior = updated((a, b), y, n - y)
    said = summary(posterior)
    found = [said.mean, said.sd, said.low, said.median, said.high, above(posterior, 0.5)]
    assert found == pytest.approx(expected, abs=GRID.tolerance["all"])


@pytest.mark.parametrize("row", AHEAD.expected["rows"], ids=lambda row: str(row[:5]))
def test_how_many_of_the_next_checks_will_be_right(row):
    """Computed with scipy 1.17.1."""
    a, b, n, y, ahead, chances = row
    found = predictive(updated((a, b), y, n - y), ahead)
    assert found == pytest.approx(chances, abs=AHEAD.tolerance["all"])
    assert fsum(found) == pytest.approx(1)


@pytest.mark.parametrize("row", UNKNOWN.expected["rows"], ids=lambda row: str(row[:4]))
def test_repeats_by_one_examiner_of_unknown_accuracy(row):
    """Computed with scipy 1.17.1; as accuracy becomes certain the repeats become
    independent, which the last column is."""
    a, b, n, k, marginalised, fixed = row
    within = UNKNOWN.tolerance["all"]
    assert repeated_calls((a, b), n, k) == pytest.approx(marginalised, abs=within)
    sure = (a / (a + b) * 1e9, b / (a + b) * 1e9)
    assert repeated_calls(sure, n, k) == pytest.approx(fixed, abs=1e-6)
    assert marginalised <= fixed


@given(RATES, RATES, st.floats(0.001, 0.999))
def test_quantile_and_tail_undo_each_other(a, b, share):
    rate = quantile((a, b), share)
    if 1e-12 < rate < 1 - 1e-12:
        assert below((a, b), rate) == pytest.approx(share, abs=1e-7)
        assert above((a, b), rate) == pytest.approx(1 - share, abs=1e-7)


@given(RATES, RATES, st.integers(0, 50), st.integers(0, 50))
def test_more_wrong_calls_never_lower_the_rate(a, b, wrong, right):
    before = summary(updated((a, b), wrong, right)).mean
    assert summary(updated((a, b), wrong + 1, right)).mean > before
    assert summary(updated((a, b), wrong, right + 1)).mean < before


@pytest.mark.parametrize(
    ("of", "mode"),
    [((0.5, 0.5), None), ((1, 1), None), ((1, 3), 0.0), ((3, 1), 1.0), ((2, 2), 0.5)],
)
def test_the_highest_point_where_there_is_one(of, mode):
    assert summary(of).mode == mode


def test_counts_below_zero_are_refused():
    with pytest.raises(ValueError, match="negative"):
        updated((1, 1), -1, 3)

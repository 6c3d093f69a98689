"""Exact tests and intervals against tables and other software
(tests/vectors/binomial_sex_ratio.json)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.tails import at_least, at_most, doubled_tail, mid_p
from scalewitness.domain.sexing.examiners.binomial import (
    INTERVALS,
    clopper_pearson,
    jeffreys,
    two_sided,
    wilson,
)

FILE = "binomial_sex_ratio"
GRID = item(FILE, "clutch_grid_p0.5")
ASYMMETRIC = item(FILE, "asymmetric_null")
CONOVER = item(FILE, "conover_1971_dwarf_giant")
NEWCOMBE = item(FILE, "newcombe_1998_table_I")
R_BINOM = item(FILE, "r_binom_package_intervals")
ARBUTHNOT = item(FILE, "arbuthnot_1710_christenings")
LETHAL = item(FILE, "morgan_sex_linked_lethal_2_to_1")


@pytest.mark.parametrize("row", GRID.expected["rows"], ids=lambda row: f"{row[1]}/{row[0]}")
@pytest.mark.some(30)
def test_every_clutch_of_four_to_fourteen(row):
    """Computed with scipy 1.17.1 and statsmodels 0.15.0."""
    values = dict(zip(GRID.data["columns"], row, strict=True))
    n, k = values["n"], values["k"]
    found = {
        "p_two_sided_exact": two_sided(k, n),
        "p_one_sided_k_or_more": at_least(k, n),
        "p_one_sided_k_or_fewer": at_most(k, n),
        "p_two_sided_doubled_tail": doubled_tail(k, n),
        "p_two_sided_mid_p": mid_p(k, n),
    }
    for name, interval in INTERVALS.items():
        found[f"{name}_low"], found[f"{name}_high"] = interval(k, n, 0.95)
    assert found | {"n": n, "k": k} == pytest.approx(values, abs=GRID.tolerance["all"])


def test_from_which_clutch_on_a_ratio_can_be_told():
    """Computed with scipy 1.17.1: by size, the most males that are significantly few."""
    largest = GRID.expected["largest_k_below_half_significant_at_0.05_two_sided"]
    for n, expected in largest:
        few = [k for k in range(n // 2 + 1) if two_sided(k, n) < 0.05]
        assert max(few, default=None) == expected, n
    smallest = GRID.expected["smallest_n_at_which_all_one_sex_is_significant_two_sided"]
    assert next(n for n in range(1, 15) if two_sided(0, n) < 0.05) == smallest


@pytest.mark.parametrize("row", ASYMMETRIC.expected["rows"], ids=lambda row: str(row[:3]))
@pytest.mark.some(30)
def test_other_ratios_than_even(row):
    """Computed with scipy 1.17.1."""
    p, n, k, small_p, doubled = row
    p = 1 / 3 if p == 0.3333333333 else 2 / 3 if p == 0.6666666667 else p
    assert two_sided(k, n, p) == pytest.approx(small_p, abs=ASYMMETRIC.tolerance["all"])
    assert doubled_tail(k, n, p) == pytest.approx(doubled, abs=ASYMMETRIC.tolerance["all"])


def test_dwarf_and_giant_plants():
    """Conover 1971, p. 97, as in the documentation of R's binom.test."""
    k, n, p = (CONOVER.data[name] for name in ("k", "n", "p0"))
    published, computed = CONOVER.expected["published"], CONOVER.expected["computed"]
    assert two_sided(k, n, p) == pytest.approx(published["p_two_sided"], abs=5e-5)
    assert two_sided(k, n, p) == pytest.approx(computed["p_two_sided"], abs=1e-7)
    found = clopper_pearson(k, n)
    assert found == pytest.approx(published["clopper_pearson_95"], abs=5e-8)
    assert found == pytest.approx(computed["clopper_pearson_95"], abs=1e-7)


@pytest.mark.parametrize("case", NEWCOMBE.expected["cases"], ids=lambda c: f"{c['k']}/{c['n']}")
def test_intervals_of_newcombe(case):
    """Newcombe 1998, Statistics in Medicine 17, Table I, methods 3 and 5."""
    for name, interval in (("wilson", wilson), ("clopper_pearson", clopper_pearson)):
        found = interval(case["k"], case["n"])
        published, computed = case[f"published_{name}"], case[f"computed_{name}"]
        assert found == pytest.approx(published, abs=NEWCOMBE.tolerance["published"])
        assert found == pytest.approx(computed, abs=NEWCOMBE.tolerance["computed"])


NAMES = {
    "exact": "clopper_pearson",
    "wilson": "wilson",
    "bayes": "jeffreys",
    "agresti-coull": "agresti_coull",
}


@pytest.mark.parametrize("method", list(R_BINOM.data["method_names"]))
@pytest.mark.parametrize("case", list(R_BINOM.expected["published"]))
def test_intervals_of_r_package_binom(case, method):
    """R package binom, as stored in the statsmodels 0.15.0 test suite."""
    if method == "asymptotic":
        pytest.skip("the Wald interval is not offered: it covers too little for small counts")
    k, n = map(int, case.split("/"))
    if method == "bayes" and min(k, n - k) <= 1:
        pytest.skip("R switches to a highest-density interval here, not equal tails")
    expected = [min(1.0, max(0.0, end)) for end in R_BINOM.expected["published"][case][method]]
    found = INTERVALS[NAMES[method]](k, n, 0.95)
    assert found == pytest.approx(expected, abs=R_BINOM.tolerance["published"])


def test_arbuthnots_christenings():
    """Arbuthnot 1710: more boys than girls were christened in London 82 years running."""
    rows, computed = ARBUTHNOT.data["rows"], ARBUTHNOT.expected["computed"]
    boyish = sum(males > females for _, males, females in rows)
    assert boyish == len(rows) == ARBUTHNOT.expected["published"]["years_with_more_males"]
    assert at_least(boyish, len(rows)) == pytest.approx(0.5**82, rel=1e-12)
    said = ARBUTHNOT.expected["published"]["one_sided_probability"]
    assert 1 / at_least(boyish, len(rows)) == pytest.approx(float(said.split()[-1]), rel=2e-4)
    assert at_least(boyish, len(rows)) == pytest.approx(computed["one_sided_p"], rel=1e-6)
    assert two_sided(boyish, len(rows)) == pytest.approx(computed["two_sided_p"], rel=1e-6)
    males, females = (sum(column) for column in list(zip(*rows, strict=True))[1:])
    assert (males, females) == (computed["total_males"], computed["total_females"])
    assert males / (males + females) == pytest.approx(computed["male_fraction"], rel=1e-6)


def test_a_sex_linked_lethal():
    """Morgan and Bridges 1916, p. 32: two females for each male."""
    males, females = LETHAL.data["males"], LETHAL.data["females"]
    total, computed = males + females, LETHAL.expected["computed"]
    assert females / males == pytest.approx(computed["female_to_male"], abs=1e-6)
    assert two_sided(males, total) == pytest.approx(computed["p_two_sided_null_0.5"], rel=1e-5)
    third = two_sided(males, total, 1 / 3)
    assert third == pytest.approx(computed["p_two_sided_null_1/3_males"], abs=1e-6)
    expected = computed["clopper_pearson_male_fraction"]
    assert clopper_pearson(males, total) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (ARBUTHNOT.expected["computed"]["z_for_0.5"], "the normal approximation is not offered"),
        (
            LETHAL.expected["computed"]["recombinant_sons_fraction"],
            "a fraction of crossed-over sons, whose counts the file does not give",
        ),
        (
            LETHAL.expected["published"]["cross_over_value_lethal_white_percent"],
            "as printed, of the same sons",
        ),
    ],
)
def test_what_is_not_about_a_sex_ratio(value, reason):
    assert value
    pytest.skip(reason)


COUNTS = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(COUNTS)
def test_swapping_the_sexes_mirrors_every_answer(counts):
    k, n = counts
    assert two_sided(k, n) == pytest.approx(two_sided(n - k, n), rel=1e-9)
    for interval in INTERVALS.values():
        low, high = interval(k, n, 0.95)
        mirrored_low, mirrored_high = interval(n - k, n, 0.95)
        assert (1 - mirrored_high, 1 - mirrored_low) == pytest.approx((low, high), abs=1e-9)


@given(COUNTS)
def test_the_exact_interval_holds_the_others_middle(counts):
    k, n = counts
    low, high = clopper_pearson(k, n)
    assert low <= k / n <= high
    inner_low, inner_high = jeffreys(k, n)
    assert low <= inner_low
    assert inner_high <= high


@given(COUNTS)
def test_the_exact_interval_and_the_exact_tails_agree(counts):
    """Clopper and Pearson's limits are the proportions at which a tail is 2.5 %."""
    k, n = counts
    low, high = clopper_pearson(k, n)
    if k:
        assert at_least(k, n, low) == pytest.approx(0.025, rel=1e-6)
    if k < n:
        assert at_most(k, n, high) == pytest.approx(0.025, rel=1e-6)

"""Agreement of any number of examiners (tests/vectors/kappa.json)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from bench.examiners.agreement_more import (
    animal_agreement,
    answer_kappas,
    brennan_prediger,
    fleiss_null,
    gwet,
)
from scalewitness.domain.sexing.examiners.agreement_many import (
    counted,
    fleiss,
    krippendorff,
    pairs,
)

FILE = "kappa"
DIAGNOSES = item(FILE, "fleiss1971_psychiatric_diagnoses")
FOURTEEN = item(FILE, "fleiss_10_subjects_14_raters")
FOUR_OBSERVERS = item(FILE, "krippendorff2011_4_observers_12_units")
THREE_CODERS = item(FILE, "krippendorff_wikipedia_3_coders_15_units")
ABSTRACTORS = item(FILE, "gwet_three_abstractors_100_pregnancies")
SIX_RATERS = item(FILE, "gwet_six_raters_15_subjects")
TWO_BY_TWO = [
    "two_doctors_20_patients",
    "two_readers_50_proposals",
    "feinstein_cicchetti_balanced",
    "feinstein_cicchetti_unbalanced",
]


def by_animal(rows):
    """A matrix of examiners by animals, None where not examined, as a table of counts."""
    answers = sorted({answer for row in rows for answer in row} - {None})
    given = [
        (f"examiner {r}", f"animal {c}", str(answer))
        for c in range(len(rows[0]))
        for r, answer in enumerate(row[c] for row in rows)
        if answer is not None
    ]
    return counted(given, [str(answer) for answer in answers])


@pytest.mark.parametrize("case", [DIAGNOSES, FOURTEEN], ids=["1971", "fourteen raters"])
def test_fleiss_kappa(case):
    """Fleiss 1971, Psychological Bulletin 76, and the worked example of Wikipedia; computed
    with statsmodels 0.15.0."""
    table, computed = case.data["counts"], case.expected["computed"]
    found, null = fleiss(table), fleiss_null(table)
    values = {
        "p_j": np.asarray(table).sum(0) / np.sum(table),
        "P_bar": found.observed,
        "P_e": found.expected,
        "kappa": found.coefficient,
        "category_kappa": answer_kappas(table),
        "se0_fleiss_nee_landis_1979": null.se,
        "z": null.z,
        "P_i": animal_agreement(table),
        "krippendorff_alpha_nominal": krippendorff(table).alpha,
    }
    for name, expected in computed.items():
        assert values[name] == pytest.approx(expected, abs=1e-6), name
    assert null.p < 1e-30


def test_fleiss_kappa_as_published():
    """Fleiss 1971; R package irr 0.84.1; the per-answer kappas from memory."""
    expected, table = DIAGNOSES.expected, DIAGNOSES.data["counts"]
    assert fleiss(table).coefficient == pytest.approx(expected["published"]["kappa"], abs=5e-4)
    assert fleiss(table).coefficient == pytest.approx(expected["r_irr"]["kappa"], abs=5e-8)
    assert fleiss_null(table).z == pytest.approx(expected["r_irr"]["z"], abs=5e-6)
    elsewhere = expected["category_kappa_reported_elsewhere_3dp"]
    assert answer_kappas(table) == pytest.approx(elsewhere, abs=5e-4)


def test_the_example_with_fourteen_raters_as_published():
    table, published = FOURTEEN.data["counts"], FOURTEEN.expected["published"]
    assert fleiss(table).coefficient == pytest.approx(published["kappa_3dp"], abs=5e-4)
    assert animal_agreement(table) == pytest.approx(published["P_i_3dp"], abs=5e-4)


@pytest.mark.parametrize("name", TWO_BY_TWO)
def test_two_examiners_are_the_smallest_crowd(name):
    """Scott's pi, Gwet's AC1 and PABAK of two-by-two tables, computed with statsmodels."""
    case = item(FILE, name)
    table, computed = pairs(case.data["counts"]), case.expected["computed"]
    assert fleiss(table).coefficient == pytest.approx(computed["scott_pi"], abs=1e-6)
    assert gwet(table).coefficient == pytest.approx(computed["gwet_ac1"], abs=1e-6)
    assert brennan_prediger(table).coefficient == pytest.approx(computed["pabak"], abs=1e-6)
    assert fleiss(table).observed == pytest.approx(computed["p_observed"], abs=1e-6)


def test_gwets_three_abstractors():
    """Gwet 2014, as printed in the README of R package irrCAC 1.0."""
    table, published = pairs(ABSTRACTORS.data["counts"]), ABSTRACTORS.expected["published"]
    found = {
        "percent_agreement": fleiss(table).observed,
        "scott_pi": fleiss(table).coefficient,
        "gwet_ac1": gwet(table).coefficient,
        "brennan_prediger": brennan_prediger(table).coefficient,
        "krippendorff_alpha": krippendorff(table).alpha,
    }
    for name, value in found.items():
        assert value == pytest.approx(published[name], abs=5e-7), name
    # For a square table irrCAC divides the squares by n², for ratings by n (n − 1) as here.
    by_n = gwet(table).se * (99 / 100) ** 0.5
    assert by_n == pytest.approx(published["gwet_ac1_se"], abs=5e-7)
    computed = ABSTRACTORS.expected["computed"]
    for name in found.keys() & computed.keys():
        assert found[name] == pytest.approx(computed[name], abs=1e-6), name


def test_gwets_six_raters():
    """Gwet 2014, as printed in the README of R package irrCAC 1.0."""
    table, published = SIX_RATERS.data["counts"], SIX_RATERS.expected["published"]
    found = {
        "gwet_ac1": gwet(table).coefficient,
        "gwet_ac1_pe": gwet(table).expected,
        "fleiss_kappa": fleiss(table).coefficient,
        "fleiss_pe": fleiss(table).expected,
        "percent_agreement": fleiss(table).observed,
        "krippendorff_alpha": krippendorff(table).alpha,
        "krippendorff_pa": krippendorff(table).observed,
        "brennan_prediger": brennan_prediger(table).coefficient,
    }
    assert found == pytest.approx(published, abs=5e-7)
    for name, expected in SIX_RATERS.expected["computed"].items():
        assert found[name] == pytest.approx(expected, abs=1e-6), name


PORT = "python_irrCAC_0.4.4"
NOT_NOMINAL = {"alpha_ordinal", "alpha_interval", "alpha_ratio"}


@pytest.mark.parametrize(
    ("source", "name"),
    [
        (source, name)
        for source in FOUR_OBSERVERS.expected
        for name in FOUR_OBSERVERS.expected[source]
    ],
)
def test_four_observers_with_animals_not_seen_by_all(source, name):
    """Krippendorff 2011 and Gwet 2014, p. 120; R package irrCAC 1.0 and its Python port."""
    if name in NOT_NOMINAL:
        pytest.skip("answers about sex have no order, so there is no such alpha to compute")
    if name.startswith("conger"):
        pytest.skip("unresolved in the source: R and Python disagree; Conger's is not offered")
    if source == PORT and name in {"gwet_ac1", "brennan_prediger"}:
        pytest.skip("the port departs from the R package, whose values are the formulas'")
    table = by_animal(FOUR_OBSERVERS.data["observers_by_units"])
    values = {
        "alpha_nominal": krippendorff(table).alpha,
        "percent_agreement": fleiss(table).observed,
        "gwet_ac1": gwet(table).coefficient,
        "gwet_ac1_se": gwet(table).se,
        "gwet_ac1_pe": gwet(table).expected,
        "fleiss_kappa": fleiss(table).coefficient,
        "fleiss_kappa_pe": fleiss(table).expected,
        "krippendorff_alpha": krippendorff(table).alpha,
        "krippendorff_pa": krippendorff(table).observed,
        "krippendorff_pe": krippendorff(table).expected,
        "brennan_prediger": brennan_prediger(table).coefficient,
    }
    within = 5e-4 if name == "alpha_nominal" else 5e-6
    within = 1e-6 if source == "computed" else within
    assert values[name] == pytest.approx(FOUR_OBSERVERS.expected[source][name], abs=within)


@pytest.mark.parametrize(
    ("source", "name"),
    [(source, name) for source, of in THREE_CODERS.expected.items() for name in of],
)
def test_three_coders_with_gaps(source, name):
    """Worked example of Wikipedia, values of the Python package krippendorff 0.9.0."""
    if name in NOT_NOMINAL:
        pytest.skip("answers about sex have no order, so there is no such alpha to compute")
    alpha = krippendorff(by_animal(THREE_CODERS.data["coders_by_units"])).alpha
    expected = THREE_CODERS.expected[source][name]
    assert alpha == pytest.approx(expected, abs=5e-7 if source == "published" else 1e-6)


def test_the_bootstrap_interval_is_about_as_wide_as_the_linearised_one():
    """Alpha and Fleiss' kappa differ by 1/n, so their errors are all but the same."""
    table = DIAGNOSES.data["counts"]
    found = krippendorff(table, np.random.default_rng(71), resamples=4000)
    low, high = found.interval
    assert found.undefined == 0
    assert low < found.alpha < high
    assert (high - low) / (2 * 1.96) == pytest.approx(fleiss(table).se, rel=0.1)


def test_the_same_generator_gives_the_same_interval():
    table = DIAGNOSES.data["counts"]
    one, two = (krippendorff(table, np.random.default_rng(5)) for _ in range(2))
    assert one == two


def test_resamples_with_a_single_answer_are_left_out_and_counted():
    found = krippendorff([[2, 0], [2, 0], [1, 1]], np.random.default_rng(3), resamples=1000)
    assert found.undefined == pytest.approx(1000 * (2 / 3) ** 3, abs=60)


def test_one_answer_for_everything_is_no_measure_of_agreement():
    table = [[3, 0], [2, 0]]
    assert krippendorff(table) is fleiss(table) is fleiss_null([[3, 0], [3, 0]]) is None
    assert gwet(table).coefficient == 1


def test_animals_seen_once_are_no_agreement():
    assert krippendorff([[1, 0], [0, 1]]) is fleiss([[1, 0], [0, 1]]) is None


def test_unequal_numbers_have_no_null_test():
    with pytest.raises(ValueError, match="equally often"):
        fleiss_null([[2, 1], [2, 0]])


def test_the_last_answer_of_an_examiner_on_an_animal_counts():
    answers = [("ash", "kestrel", "male"), ("ash", "kestrel", "female"), ("birch", "kestrel", "?")]
    assert counted(answers, ["male", "female"]).tolist() == [[0, 1]]


TABLES = st.lists(
    st.lists(st.integers(0, 5), min_size=2, max_size=2), min_size=2, max_size=12
).filter(lambda table: any(sum(row) > 1 for row in table))


@given(TABLES)
def test_swapping_the_sexes_changes_no_coefficient(table):
    mirrored = [row[::-1] for row in table]
    for coefficient in (fleiss, gwet, brennan_prediger):
        one, two = coefficient(table), coefficient(mirrored)
        assert (one is None) == (two is None)
        if one is not None:
            assert one.coefficient == pytest.approx(two.coefficient)
            assert one.se == pytest.approx(two.se, abs=1e-9)


@given(st.lists(st.sampled_from([[3, 0], [0, 3], [2, 0], [0, 4]]), min_size=2, max_size=20))
def test_full_agreement_is_one(table):
    for coefficient in (gwet, brennan_prediger):
        assert coefficient(table).coefficient == pytest.approx(1)
    if len({row.index(0) for row in table}) == 2:
        assert fleiss(table).coefficient == pytest.approx(1)
        assert krippendorff(table).alpha == pytest.approx(1)

"""Agreement of two examiners (tests/vectors/kappa.json)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.sexing.examiners.vectors import item

from scalewitness.domain.sexing.examiners.agreement import cohen

COHEN_1960 = item("kappa", "cohen1960_three_categories")
FLEISS_1969 = item("kappa", "fleiss_cohen_everitt1969")
SAS = item("kappa", "sas_3x3")
DOCTORS = item("kappa", "two_doctors_20_patients")
READERS = item("kappa", "two_readers_50_proposals")
BALANCED = item("kappa", "feinstein_cicchetti_balanced")
UNBALANCED = item("kappa", "feinstein_cicchetti_unbalanced")
ABSTRACTORS = item("kappa", "gwet_three_abstractors_100_pregnancies")


def assert_computed(found, computed):
    """Computed with statsmodels 0.15.0 and scikit-learn 1.9.1."""
    names = {
        "n": found.n,
        "p_observed": found.observed,
        "p_expected": found.expected,
        "kappa": found.kappa,
        "kappa_max_given_margins": found.most,
        "se_cohen_1960": found.se_1960,
        "asymptotic_se": found.se,
        "ci95": found.interval,
        "se_under_null": found.se_null,
        "z": found.z,
    }
    shared = names.keys() & computed.keys()
    assert {"n", "p_observed", "p_expected", "kappa", "asymptotic_se"} <= shared
    for name in shared:
        assert names[name] == pytest.approx(computed[name], abs=1e-6), name


def test_two_psychologists_of_cohen():
    """Cohen 1960, Educational and Psychological Measurement 20."""
    counts, computed = COHEN_1960.data["counts"], COHEN_1960.expected["computed"]
    found = cohen(counts)
    assert_computed(found, computed)
    published = COHEN_1960.expected["published"]
    assert found.kappa == pytest.approx(published["kappa"], abs=0.0005)
    shares = cohen([[200 * share for share in row] for row in COHEN_1960.data["proportions"]])
    assert shares.kappa == pytest.approx(found.kappa, abs=1e-12)


def test_weighted_kappa_of_cohen():
    """Cohen 1968, Psychological Bulletin 70: disagreement weights; and the usual two."""
    counts, computed = COHEN_1960.data["counts"], COHEN_1960.expected["computed"]
    apart = COHEN_1960.data["disagreement_weights_1968"]
    worst = max(map(max, apart))
    weights = [[1 - weight / worst for weight in row] for row in apart]
    published = COHEN_1960.expected["published"]["weighted_kappa"]
    assert cohen(counts, weights).kappa == pytest.approx(published, abs=0.0005)
    assert cohen(counts, weights).kappa == pytest.approx(computed["weighted_kappa"], abs=1e-6)
    for kind in ("linear", "quadratic"):
        expected = computed[f"weighted_kappa_{kind}_weights"]
        assert cohen(counts, kind).kappa == pytest.approx(expected, abs=1e-6)


def test_the_example_of_the_standard_errors():
    """Fleiss, Cohen and Everitt 1969, Psychological Bulletin 72."""
    counts, computed = FLEISS_1969.data["counts"], FLEISS_1969.expected["computed"]
    assert_computed(cohen(counts), computed)
    weighted = cohen(counts, FLEISS_1969.data["similarity_weights"])
    assert weighted.kappa == pytest.approx(computed["weighted_kappa"], abs=1e-6)
    assert weighted.se_1960 is None


@pytest.mark.parametrize("kind", ["simple", "weighted_linear"])
def test_printed_sas_output(kind):
    """SAS PROC FREQ output kept in the statsmodels 0.15.0 test suite; one answer is never
    given by the second examiner."""
    found = cohen(SAS.data["counts"], "linear" if kind == "weighted_linear" else None)
    values = {
        "kappa": found.kappa,
        "ase": found.se,
        "ci95": found.interval,
        "ase_h0": found.se_null,
        "z": found.z,
        "p_two_sided": found.p,
        "p_one_sided": found.p / 2,
    }
    for source, within in (("published", 5e-5), ("computed", 1e-6)):
        for name, expected in SAS.expected[source][kind].items():
            assert values[name] == pytest.approx(expected, abs=within), name


@pytest.mark.parametrize(
    "case", [DOCTORS, READERS, BALANCED, UNBALANCED], ids=["doctors", "readers", "even", "uneven"]
)
def test_two_by_two_tables(case):
    """Worked examples: easycalculation.com, Wikipedia, Feinstein and Cicchetti 1990."""
    found = cohen(case.data["counts"])
    assert_computed(found, case.expected["computed"])
    assert found.kappa == pytest.approx(case.expected["published"]["kappa"], abs=0.005)


def test_the_paradox_of_high_agreement_and_low_kappa():
    """Feinstein and Cicchetti 1990, Journal of Clinical Epidemiology 43."""
    even, uneven = cohen(BALANCED.data["counts"]), cohen(UNBALANCED.data["counts"])
    assert even.observed == uneven.observed == pytest.approx(0.85)
    assert even.kappa > 2 * uneven.kappa


def test_three_answers_by_two_abstractors():
    """Gwet 2014, as printed in the README of R package irrCAC 1.0."""
    found, published = cohen(ABSTRACTORS.data["counts"]), ABSTRACTORS.expected["published"]
    assert found.observed == pytest.approx(published["percent_agreement"], abs=5e-7)
    assert found.kappa == pytest.approx(published["cohen_kappa"], abs=5e-7)
    assert found.se == pytest.approx(published["cohen_kappa_se"], abs=5e-7)
    computed = ABSTRACTORS.expected["computed"]["cohen_asymptotic_se"]
    assert found.se == pytest.approx(computed, abs=1e-6)


def test_two_examiners_with_one_answer_between_them_cannot_be_told_from_chance():
    assert cohen([[12, 0], [0, 0]]) is None


@pytest.mark.parametrize("table", [[], [[1, 2]], [[0, 0], [0, 0]]])
def test_no_table_no_agreement(table):
    with pytest.raises(ValueError, match="square table"):
        cohen(table)


def test_weights_must_fit_the_table():
    with pytest.raises(ValueError, match="fit"):
        cohen([[1, 2], [3, 4]], [[1.0]])


TABLES = st.lists(
    st.lists(st.integers(0, 40), min_size=3, max_size=3), min_size=3, max_size=3
).filter(lambda table: sum(map(sum, table)) > 0)


@given(TABLES, st.sampled_from([None, "linear", "quadratic"]))
def test_it_does_not_matter_whose_answers_are_the_rows(table, weights):
    one, two = cohen(table, weights), cohen(list(zip(*table, strict=True)), weights)
    if one is None:
        assert two is None
        return
    assert (one.kappa, one.se, one.se_null) == pytest.approx((two.kappa, two.se, two.se_null))
    assert one.kappa <= 1 + 1e-12
    assert one.most >= one.kappa - 1e-9 or weights


@given(st.integers(1, 90), st.integers(1, 90))
def test_full_agreement_is_one_and_certain(males, females):
    found = cohen([[males, 0], [0, females]])
    assert (found.kappa, found.most, found.se) == pytest.approx((1, 1, 0), abs=1e-6)

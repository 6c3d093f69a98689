"""Counts against ratios, on maize kernels that fifteen people sorted
(tests/vectors/examiners_maize_pearl1911.json: Pearl 1911, Biological Bulletin 21)."""

import statistics

import pytest
from tests.domain.sexing.examiners.vectors import item, load

from bench.examiners.ratios import against_ratio
from scalewitness.domain.sexing.examiners.binomial import clopper_pearson, two_sided, wilson
from scalewitness.domain.sexing.examiners.goodness import heterogeneity

MAIZE = load("examiners_maize_pearl1911")
COUNTS = {(ear, observer): counts for ear, observer, *counts in MAIZE["data"]["rows"]}
POOLED = item("binomial_sex_ratio", "pooled_clutches_made_up")


@pytest.mark.parametrize("row", MAIZE["expected"]["rows"], ids=lambda row: "-".join(row[:2]))
def test_each_observer_against_nine_three_three_one(row):
    """Computed with scipy 1.17.1 on Pearl's counts."""
    ear, observer, kernels, chi2, p, yellow_chi2, starchy_chi2 = row
    counts = COUNTS[ear, observer]
    assert sum(counts) == kernels
    fit = against_ratio(counts, (9, 3, 3, 1))
    assert (fit.chi2, fit.df) == (pytest.approx(chi2, abs=1e-5), 3)
    assert fit.p_chi2 == pytest.approx(p, rel=1e-5)
    yellow = (counts[0] + counts[1], counts[2] + counts[3])
    starchy = (counts[0] + counts[2], counts[1] + counts[3])
    assert against_ratio(yellow, (3, 1)).chi2 == pytest.approx(yellow_chi2, abs=1e-5)
    assert against_ratio(starchy, (3, 1)).chi2 == pytest.approx(starchy_chi2, abs=1e-5)


@pytest.mark.parametrize("ear", list(MAIZE["expected"]["by_ear"]))
def test_observers_of_one_ear_against_one_another(ear):
    expected = MAIZE["expected"]["by_ear"][ear]
    table = [counts for (which, _), counts in COUNTS.items() if which == ear]
    assert len(table) == expected["observers"]
    fit = heterogeneity(table)
    assert fit.chi2 == pytest.approx(expected["heterogeneity_chi2"], rel=1e-5)
    assert fit.df == expected["df"]
    assert fit.p_chi2 == pytest.approx(expected["p"], rel=1e-5)
    middles = [statistics.median(column) for column in zip(*table, strict=True)]
    assert middles == expected["median_counts"]
    rejecting = sum(against_ratio(counts, (9, 3, 3, 1)).p_chi2 < 0.05 for counts in table)
    assert rejecting == expected["observers_rejecting_9331_at_0.05"]


def test_pooled_clutches():
    """Computed with scipy 1.17.1 on made-up clutches."""
    clutches, pooled = POOLED.data["clutches"], POOLED.expected["pooled"]
    males, eggs = map(sum, zip(*clutches, strict=True))
    assert (males, eggs) == (pooled["males"], pooled["eggs"])
    assert two_sided(males, eggs) == pytest.approx(pooled["p_two_sided"], abs=1e-6)
    assert clopper_pearson(males, eggs) == pytest.approx(pooled["clopper_pearson"], abs=1e-6)
    assert wilson(males, eggs) == pytest.approx(pooled["wilson"], abs=1e-6)
    each = [two_sided(k, n) for k, n in clutches]
    assert each == pytest.approx(POOLED.expected["each_clutch_p"], abs=1e-6)
    fit, expected = heterogeneity([(k, n - k) for k, n in clutches]), POOLED.expected
    found = (fit.chi2, fit.g2, fit.df, fit.p_chi2, fit.p_g2)
    names = ("chi2", "G", "df", "p_chi2", "p_G")
    assert found == pytest.approx([expected["heterogeneity"][name] for name in names], abs=1e-6)


def test_a_class_nobody_can_be_in_must_stay_empty():
    assert against_ratio((4, 4, 0), (1, 1, 0)).chi2 == 0
    with pytest.raises(ValueError, match="nothing can be"):
        against_ratio((4, 4, 1), (1, 1, 0))


def test_rows_alike_do_not_differ():
    fit = heterogeneity([(2, 4), (3, 6), (1, 2)])
    assert (fit.chi2, fit.g2, fit.df) == (pytest.approx(0), pytest.approx(0), 2)
    assert fit.p_chi2 == pytest.approx(1)

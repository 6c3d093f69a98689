"""Linkage against closed forms and counted test crosses (tests/vectors/mendel.json)."""

from fractions import Fraction
from itertools import product
from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.genetics.mendel import data, expected, fractions

from scalewitness.domain.genetics.linkage import gametes, recombination

ROWS = expected("linked_two_locus_expectations")["rows"]
COUPLING, REPULSION = (("A", "B"), ("a", "b")), (("A", "b"), ("a", "B"))


def _named(chances):
    return {"".join(haplotype): chance for haplotype, chance in chances.items() if chance}


def _looks(sire, dam):
    """F2 by what shows, both loci with complete dominance."""
    found = {}
    for (one, p), (other, q) in product(sire.items(), dam.items()):
        name = "".join(
            f"{big}_" if big in both else both[0] * 2
            for big, both in zip("AB", zip(one, other, strict=True), strict=True)
        )
        found[name] = found.get(name, Fraction(0)) + p * q
    return {name: chance for name, chance in found.items() if chance}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["r"])
def test_test_crosses_and_f2_at_every_fraction(row):
    r = Fraction(row["r"])
    coupling, repulsion = gametes(*COUPLING, r), gametes(*REPULSION, r)
    assert _named(coupling) == fractions(row["testcross_coupling"])
    assert _named(repulsion) == fractions(row["testcross_repulsion"])
    assert _looks(coupling, coupling) == fractions(row["F2_coupling"])
    assert _looks(repulsion, repulsion) == fractions(row["F2_repulsion"])
    whole = gametes(*COUPLING, Fraction(0))
    one_sided = row["F2_coupling_no_recombination_in_one_sex"]
    assert _looks(coupling, whole) == fractions(one_sided)


def test_a_counted_test_cross_of_maize():
    """Stinard (1992), a2 and Ae-5180: 19.3 ± 0.8 per cent."""
    counts, table = data("maize_testcross_a2_Ae"), expected("maize_testcross_a2_Ae")
    found = recombination(sum(counts["parental"]), sum(counts["recombinant"]))
    assert 100 * found.r == pytest.approx(table["published"]["percent_recombination"], abs=0.05)
    assert 100 * found.standard_error == pytest.approx(
        table["published"]["standard_error"], abs=0.05
    )
    assert found.r == pytest.approx(table["computed"]["recombination"], abs=1e-6)
    assert found.standard_error == pytest.approx(table["computed"]["standard_error"], abs=1e-6)
    assert found.lod == pytest.approx(table["computed"]["lod_vs_0.5"], abs=1e-5)


def test_cherry_and_sable_on_the_x():
    """Morgan and Bridges (1916), table 10: cross-over values 40, 43, 42 and 42 per cent,
    read in the sons."""
    table = expected("morgan_bridges_table10_cherry_sable")
    rows = data("morgan_bridges_table10_cherry_sable")["rows"]
    for row, printed, r in zip(
        rows,
        table["published"]["cross_over_values_percent"],
        table["computed"]["recombination"],
        strict=True,
    ):
        found = recombination(row[2] + row[3], row[4] + row[5])
        assert found.r == pytest.approx(r, abs=1e-6)
        assert 100 * found.r == pytest.approx(printed, abs=0.5)
    sums = [sum(column) for column in zip(*rows, strict=True)]
    assert sums == table["computed"]["totals"]
    total = recombination(sums[2] + sums[3], sums[4] + sums[5])
    assert total.r == pytest.approx(table["computed"]["total_recombination"], abs=1e-6)


@pytest.mark.parametrize(
    "row", data("morgan_bridges_linkage_totals")["table62"], ids=lambda r: r[0]
)
def test_two_point_totals_of_the_x(row):
    """Morgan and Bridges (1916), table 62."""
    _, straight, crossed, total, printed = row
    found = recombination(straight, crossed)
    assert straight + crossed == total
    computed = dict(expected("morgan_bridges_linkage_totals")["computed"]["table62_percent"])
    assert 100 * found.r == pytest.approx(computed[row[0]], abs=1e-4)
    assert 100 * found.r == pytest.approx(printed, abs=0.5)


def test_complete_linkage_and_none():
    whole = recombination(10, 0)
    assert (whole.r, whole.standard_error) == (0, 0)
    assert whole.lod == pytest.approx(3.0103, abs=1e-4)
    assert recombination(5, 5).lod == pytest.approx(0)
    assert recombination(0, 4).lod < inf
    with pytest.raises(ValueError, match="nothing was counted"):
        recombination(0, 0)


@pytest.mark.parametrize("r", [Fraction(-1, 10), Fraction(3, 5)])
def test_what_is_no_recombination_fraction(r):
    with pytest.raises(ValueError, match="recombination fraction"):
        gametes(*COUPLING, r)


@given(st.fractions(0, Fraction(1, 2)))
def test_gametes_sum_to_one_and_each_locus_assorts_evenly(r):
    found = gametes(*COUPLING, r)
    assert sum(found.values()) == 1
    assert found["A", "B"] + found["A", "b"] == Fraction(1, 2)
    assert found["A", "b"] + found["a", "B"] == r

"""Gametes at one locus."""

from fractions import Fraction

from scalewitness.domain.genetics.crosses import gametes


def test_each_of_a_parents_two_alleles_goes_to_half_of_its_gametes():
    assert gametes(("A", "a")) == {"A": Fraction(1, 2), "a": Fraction(1, 2)}


def test_a_parent_with_two_of_one_allele_gives_it_always():
    assert gametes(("a", "a")) == {"a": 1}

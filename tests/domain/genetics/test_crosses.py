"""Crosses at one locus against enumerated tables and classic exercises
(tests/vectors/mendel.json)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.domain.genetics.mendel import data, expected, fractions

from scalewitness.domain.genetics.crosses import carrier, cross, sex_linked
from scalewitness.domain.genetics.loci import Locus

SIMPLE = Locus(("A", "a"))
ABO = Locus(("A", "B", "O"), frozenset({frozenset({"A", "B"})}))
RABBIT = Locus(("C", "cch", "ch", "c"))
HALF = Fraction(1, 2)

SEX_LINKED = expected("sex_linked_cross_tables")["tables"]


def _parent(word):
    """``XAXa`` or ``ZaW`` as its two alleles, the small chromosome by its letter."""
    first, second = word[1], word[2:]
    return first, second if len(second) == 1 else second[1]


def _cross_of(words):
    """(sire, dam) of ``female XAXa x male XaY``, in either order."""
    parents = dict(part.split() for part in words.split(" x "))
    return _parent(parents["male"]), _parent(parents["female"])


@pytest.mark.parametrize(
    ("system", "words"), [(system, words) for system in SEX_LINKED for words in SEX_LINKED[system]]
)
def test_every_cross_on_the_x_and_on_the_z(system, words):
    """All twelve, enumerated exactly; the patterns read in Morgan (1916)."""
    table = SEX_LINKED[system][words]
    sire, dam = _cross_of(words)
    found = sex_linked(SIMPLE, system, sire, dam)
    for sex, young in (("male", "sons"), ("female", "daughters")):
        by_name = {"".join(genotype): chance for genotype, chance in found[sex].items()}
        assert by_name == fractions(table[young])
        recessive = sum(
            (chance for name, chance in by_name.items() if "A" not in name), Fraction(0)
        )
        assert recessive == Fraction(table[f"{young}_recessive"])


def test_the_z_mirrors_the_x():
    for dam, sire in ((("A", "a"), ("a", "Y")), (("a", "a"), ("A", "Y"))):
        x = sex_linked(SIMPLE, "XY", sire, dam)
        z = sex_linked(SIMPLE, "ZW", dam, (sire[0], "W"))
        assert z["male"] == x["female"]
        assert [(one, c) for (one, _), c in z["female"].items()] == [
            (one, c) for (one, _), c in x["male"].items()
        ]


@pytest.mark.parametrize(
    ("system", "sire", "dam"),
    [
        ("XY", ("A", "a"), ("A", "Y")),
        ("ZW", ("A", "W"), ("A", "a")),
        ("XY", ("A", "W"), ("A", "a")),
        ("ZW", ("A", "a"), ("A", "Y")),
        ("XY", ("Y", "Y"), ("A", "a")),
    ],
)
def test_parents_that_do_not_fit_the_system(system, sire, dam):
    with pytest.raises(ValueError, match="not a sire and dam"):
        sex_linked(SIMPLE, system, sire, dam)


@pytest.mark.parametrize("words", expected("allelic_series_ABO")["phenotype_probabilities"])
def test_two_alleles_that_show_together(words):
    """ABO blood groups, all 21 crosses, enumerated."""
    table = expected("allelic_series_ABO")["phenotype_probabilities"][words]
    sire, dam = (tuple(one.split("/")) for one in words.split(" x "))
    found = ABO.phenotypes(cross(ABO, sire, dam))
    assert {"".join(shown): chance for shown, chance in found.items()} == fractions(table)


@pytest.mark.parametrize("words", expected("allelic_series_rabbit")["phenotype_probabilities"])
def test_a_series_of_four_alleles(words):
    """The rabbit's coat, all 55 crosses, enumerated."""
    names = data("allelic_series_rabbit")["phenotypes"]
    table = expected("allelic_series_rabbit")["phenotype_probabilities"][words]
    sire, dam = (tuple(one.split("/")) for one in words.split(" x "))
    found = RABBIT.phenotypes(cross(RABBIT, sire, dam))
    assert {names[shown[0]]: chance for shown, chance in found.items()} == fractions(table)


@pytest.mark.parametrize("words", expected("incomplete_dominance")["all_crosses"])
def test_intermediate_forms(words):
    """Four o'clock and Andalusian fowl, read in Morgan (1916); all crosses enumerated."""
    locus = Locus(("B", "b"), frozenset({frozenset({"B", "b"})}))
    sire, dam = (tuple(one) for one in words.split(" x "))
    found = {"".join(genotype): chance for genotype, chance in cross(locus, sire, dam).items()}
    assert found == fractions(expected("incomplete_dominance")["all_crosses"][words])


def test_the_carrier_queen():
    """A queen with an even chance of carrying and three unaffected sons: 11.11 %, and
    5.56 % for the next son (textbook exercise)."""
    table = expected("x_linked_carrier_queen")
    prior = Fraction(data("x_linked_carrier_queen")["prior"])
    for sons, chance in table["computed"]["by_number_of_sons"]:
        assert carrier(prior, HALF, sons) == Fraction(chance)
    after = carrier(prior, HALF, data("x_linked_carrier_queen")["unaffected_sons"])
    affected = sex_linked(SIMPLE, "XY", ("A", "Y"), ("A", "a"))["male"]["a", "Y"]
    assert float(after) == pytest.approx(table["published"]["carrier_percent"] / 100, abs=5e-5)
    assert after * affected == Fraction(table["computed"]["next_son_affected"])


@pytest.mark.parametrize(
    ("key", "mate", "young_normal"),
    [
        ("posterior_after_n_normal_offspring_with_recessive_mate", ("a", "a"), HALF),
        ("posterior_after_n_normal_offspring_with_known_carrier_mate", ("A", "a"), Fraction(3, 4)),
    ],
)
def test_an_animal_that_may_carry_a_recessive(key, mate, young_normal):
    """Conditional chances by exact enumeration."""
    normal = SIMPLE.phenotypes(cross(SIMPLE, ("A", "a"), mate))["A",]
    assert normal == young_normal
    for prior, rows in expected("possible_heterozygote")[key]["by_prior"].items():
        for young, exact, decimal in rows:
            found = carrier(Fraction(prior), normal, young)
            assert found == Fraction(exact)
            assert float(found) == pytest.approx(decimal, abs=1e-9)


def test_two_thirds_of_normal_siblings_carry():
    """The 2/3 rule."""
    young = cross(SIMPLE, ("A", "a"), ("A", "a"))
    normal = young["A", "A"] + young["A", "a"]
    rule = expected("possible_heterozygote")["prior_carrier"]["Aa x Aa, offspring normal"]
    assert young["A", "a"] / normal == Fraction(rule)


PAIRS = st.tuples(st.sampled_from(RABBIT.alleles), st.sampled_from(RABBIT.alleles))


@given(PAIRS, PAIRS)
def test_chances_sum_to_one_and_parents_can_change_places(sire, dam):
    found = cross(RABBIT, sire, dam)
    assert sum(found.values()) == 1
    assert found == cross(RABBIT, dam, sire)


def test_an_allele_the_locus_does_not_have():
    with pytest.raises(ValueError, match="x"):
        SIMPLE.genotype("A", "x")

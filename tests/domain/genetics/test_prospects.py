"""What a pairing brings: looks, genotypes and sexes jointly, clutches, what cannot live."""

from fractions import Fraction
from itertools import product

import pytest
from tests.domain.genetics.families import (
    IS_FREE,
    IS_ONE,
    IS_TWO,
    LOOKS_PLAIN,
    ONE,
    TWO,
    XY,
    ZW,
    W,
    animal,
    close,
    made,
    on_sex_chromosome,
    pedigree,
)
from tests.domain.genetics.mendel import expected

from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import Member
from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.young import WantedYoung, at_least, pair_chance

SHOWS = WantedYoung(looks={"t": frozenset({"a"})})


def _pair(sire, dam, at="t", **more):
    return pedigree(
        animal("s", male=1.0, known=sire, at=at), animal("d", male=0.0, known=dam, at=at)
    )


def _letters(text):
    """AaBbCc as genotypes at a1, b1, c1."""
    pairs = [text[n : n + 2] for n in range(0, len(text), 2)]
    return {
        f"{pair[0].lower()}1": {tuple(W if one.isupper() else "a" for one in pair): 1.0}
        for pair in pairs
    }


@pytest.mark.parametrize(
    "row", expected("multi_locus_products")["crosses"], ids=lambda row: row["cross"]
)
def test_crosses_at_several_loci(row):
    """tests/vectors/mendel.json, multi_locus_products."""
    sire, dam = (_letters(part) for part in row["cross"].split(" x "))
    loci = [made(key) for key in sire]
    whole = pedigree(Member("s", 1.0, evidence=sire), Member("d", 0.0, evidence=dam))
    found = prospects(whole, loci, "s", "d")
    every = dict.fromkeys(sire)
    for look, name in ((W, "p_all_dominant_phenotype"), ("a", "p_all_recessive")):
        wanted = WantedYoung(looks={key: frozenset({look}) for key in every})
        assert found.chance(wanted) == pytest.approx(close(row[name]))
    carriers = WantedYoung(genotypes={key: frozenset({ONE}) for key in every})
    assert found.chance(carriers) == pytest.approx(close(row["p_heterozygous_at_every_locus"]))
    kinds = found.kinds(list(every))
    assert len(kinds) == row["distinct_genotypes"]
    assert sum(p for _, p in kinds) == pytest.approx(1)
    shown = WantedYoung(looks={key: frozenset({"a"}) for key in every})
    for sure, name in (
        (0.95, "eggs_for_95_percent_chance_of_an_all_recessive"),
        (0.99, "eggs_for_99_percent"),
    ):
        if row[name] is not None:
            assert found.at_least(1, shown, {row[name]: 1.0}) >= sure
            assert found.at_least(1, shown, {row[name] - 1: 1.0}) < sure


def test_at_least_one_in_a_clutch():
    """tests/vectors/mendel.json, at_least_one_in_clutch."""
    for chance, eggs, probability in expected("multi_locus_products")["at_least_one_in_clutch"][
        "rows"
    ]:
        assert at_least(1, close(chance), {eggs: 1.0}) == pytest.approx(probability)


@pytest.mark.parametrize(
    "row", expected("linked_two_locus_expectations")["rows"], ids=lambda r: r["r"]
)
def test_linked_loci(row):
    """tests/vectors/mendel.json: double carriers whose parents tell which alleles lie together."""
    linked = {"key": "b1", "value": float(Fraction(row["r"])), "status": "published"}
    loci = [made("a1", neighbour=linked), made("b1")]
    both, none = {"a1": IS_TWO, "b1": IS_TWO}, {"a1": IS_FREE, "b1": IS_FREE}
    left, right = {"a1": IS_TWO, "b1": IS_FREE}, {"a1": IS_FREE, "b1": IS_TWO}
    tester = Member("t", 0.0, evidence=both)
    looks = [(W, W), (W, "a"), ("a", W), ("a", "a")]
    wanted = [
        WantedYoung(looks={"a1": frozenset({one}), "b1": frozenset({other})})
        for one, other in looks
    ]
    for phase, (one, other) in {"coupling": (both, none), "repulsion": (left, right)}.items():
        whole = pedigree(
            Member("1", 1.0, evidence=one),
            Member("2", 0.0, evidence=other),
            animal("s", "1", "2", male=1.0),
            animal("d", "1", "2", male=0.0),
            tester,
        )
        cross = prospects(whole, loci, "s", "t")
        f2 = prospects(whole, loci, "s", "d")
        for name, one in zip(("AB", "Ab", "aB", "ab"), wanted, strict=True):
            assert cross.chance(one) == pytest.approx(close(row[f"testcross_{phase}"][name]))
        for name, one in zip(("A_B_", "A_bb", "aaB_", "aabb"), wanted, strict=True):
            assert f2.chance(one) == pytest.approx(close(row[f"F2_{phase}"][name]))


def test_a_dam_that_carries_with_one_half_is_not_eight_dams():
    """One wanted in eight eggs: half of 1 − (1/2)⁸, not 1 − (3/4)⁸ (closed form)."""
    found = prospects(_pair(IS_TWO, {(W, W): 1 / 0.64, ONE: 1 / 0.32}), [made()], "s", "d")
    assert found.chance(SHOWS) == pytest.approx(1 / 4)
    assert found.at_least(1, SHOWS, {8: 1.0}) == pytest.approx((1 - 0.5**8) / 2)
    assert found.expected(SHOWS, {8: 0.5, 4: 0.5}) == pytest.approx(1.5)
    counts = found.counts(SHOWS, {8: 0.5, 4: 0.5})
    assert sum(counts.values()) == pytest.approx(1)
    assert sum(n * p for n, p in counts.items()) == pytest.approx(1.5)


def test_a_brother_and_a_sister_are_weighed_together():
    """Their sire a carrier, their dam free: both carry with 1/4, a young shows it with 1/16, and
    after five plain young of theirs with 81/4420 (closed form)."""
    base = [
        animal("sire", male=1.0, known=IS_ONE),
        animal("dam", male=0.0, known=IS_FREE),
        animal("s", "sire", "dam", male=1.0),
        animal("d", "sire", "dam", male=0.0),
    ]
    for k, affected in {0: "1/16", 1: "1/20", 5: "81/4420", 10: "19683/4273036"}.items():
        young = [animal(f"y{n}", "s", "d", known=LOOKS_PLAIN) for n in range(k)]
        found = prospects(pedigree(*base, *young), [made()], "s", "d")
        assert found.chance(SHOWS) == pytest.approx(close(affected))


@pytest.mark.parametrize(("species", "showing"), [(XY, True), (ZW, False)])
def test_looks_with_sex(species, showing):
    """White-eyed sons of a white-eyed dam and a red sire (Morgan 1910), and its mirror in fowl: the
    sex with one such chromosome shows what the other parent has."""
    two, one = IS_TWO, {(W,): 1.0}
    sire, dam = (one, two) if species == XY else (two, one)
    found = prospects(_pair(sire, dam), [on_sex_chromosome(species)], "s", "d")
    shown = frozenset({"a"})
    assert found.chance(WantedYoung(male=showing, looks={"t": shown})) == pytest.approx(0.5)
    assert found.chance(WantedYoung(male=not showing, looks={"t": shown})) == 0
    assert found.chance(WantedYoung(male=showing)) == pytest.approx(0.5)


def test_young_that_do_not_live_are_counted_as_lost():
    """A quarter of the young of two carriers of a dominant lethal allele (closed form)."""
    harm = {
        "genotypes": ["a/a"],
        "kind": "lethal",
        "caution": "They die in the egg.",
        "source": "",
        "status": "common practice",
    }
    found = prospects(_pair(IS_ONE, IS_ONE), [made(inheritance="dominant", harm=[harm])], "s", "d")
    assert found.lost() == pytest.approx(1 / 4)
    assert found.chance(SHOWS) == pytest.approx(1 / 2)
    assert found.looks("t") == pytest.approx({W: 1 / 4, "a": 3 / 4})
    (expected_harm,) = found.harm()
    assert (expected_harm.harm.kind, expected_harm.chance) == ("lethal", pytest.approx(1 / 4))
    assert [kind.lost for kind, _ in found.kinds(["t"])] == [False, False, True]


def test_the_sexes_asked_for_without_a_locus_that_tells_them():
    found = prospects(_pair(IS_TWO, IS_ONE), [made()], "s", "d")
    assert found.chance(WantedYoung(male=False, looks=SHOWS.looks)) == pytest.approx(1 / 4)


def test_relatives_and_strangers_through_unknown_parents():
    """Two unknown animals, frequency 0.2: Hardy and Weinberg's q²; half sibs q² + pq/8."""
    strangers = pedigree(animal("s", male=1.0), animal("d", male=0.0))
    assert prospects(strangers, [made()], "s", "d").chance(SHOWS) == pytest.approx(0.04)
    half = pedigree(
        *(animal(one) for one in "123"),
        animal("s", "1", "2", male=1.0),
        animal("d", "1", "3", male=0.0),
    )
    found = prospects(half, [made()], "s", "d")
    assert found.genotypes("t")[TWO] == pytest.approx(0.04 + 0.16 / 8)


def test_who_is_no_pair():
    whole = pedigree(animal("s", male=1.0), animal("d", male=1.0))
    with pytest.raises(ValueError, match="with itself"):
        prospects(whole, [made()], "s", "s")
    with pytest.raises(Contradiction):
        prospects(whole, [on_sex_chromosome()], "s", "d")
    for one, other in product([0.0, 0.9, 1.0], repeat=2):
        assert pair_chance(one, other) == pytest.approx(one + other - 2 * one * other)

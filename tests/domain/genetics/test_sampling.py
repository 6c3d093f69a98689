"""Draws of everyone at once, against the exact chances."""

from collections import Counter

from scipy.stats import chisquare
from tests.domain.genetics.families import (
    FREE,
    IS_ONE,
    IS_TWO,
    LOOKS_PLAIN,
    ONE,
    TWO,
    W,
    animal,
    made,
    on_sex_chromosome,
    pedigree,
)

from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.genetics.carried import carried
from scalewitness.domain.genetics.pedigree import Member
from scalewitness.domain.genetics.sampling import sampled

WHOLE = pedigree(
    animal("s", male=1.0, known=IS_ONE),
    animal("d", male=0.0, known=LOOKS_PLAIN),
    animal("y", "s", "d", male=0.3, known=LOOKS_PLAIN),
    animal("z", "s", "y"),
)
LOCI = [made(), on_sex_chromosome(key="x")]
N = 4000


def test_draws_are_as_likely_as_the_exact_chances():
    drawn = sampled(WHOLE, LOCI, N, 5)
    exact = carried(WHOLE, LOCI[0])
    for name in ("d", "y", "z"):
        counts = Counter(one.genotypes[name]["t"] for one in drawn)
        genotypes = sorted(exact[name])
        observed = [counts[one] for one in genotypes]
        assert chisquare(observed, [N * exact[name][one] for one in genotypes]).pvalue > 1e-4
        assert sum(observed) == N
    assert 0.26 < sum(one.males["y"] for one in drawn) / N < 0.34


def test_relatives_are_drawn_together():
    """The young of a showing dam cannot be free of it."""
    for one in sampled(pedigree(animal("d"), animal("y", None, "d")), [LOOKS], 300, 2):
        assert (one.genotypes["d"]["t"], one.genotypes["y"]["t"]) not in {(TWO, FREE), (FREE, TWO)}


LOOKS = made(numbers={"frequency": 0.4})


def test_sex_goes_with_genotype_at_a_sex_chromosome():
    for one in sampled(WHOLE, LOCI, 200, 3):
        for name, male in one.males.items():
            assert len(one.genotypes[name]["x"]) == (1 if male else 2)
        assert one.males["s"]
        assert not one.males["d"]


def test_a_seed_gives_the_same_draws_with_any_tables_and_another_gives_others():
    first = sampled(WHOLE, LOCI, 40, 11)
    assert first == sampled(WHOLE, LOCI, 40, 11, ARRAYS)
    assert first[:10] == sampled(WHOLE, LOCI, 10, 11)
    assert first != sampled(WHOLE, LOCI, 40, 12)


def test_loci_of_animals_with_uncertain_parents_are_drawn_together():
    """The young is of one of two sires, and carries of both loci what that one has."""
    a, b = made("a1"), made("b1")
    sires = [
        Member("1", 1.0, evidence={"a1": IS_TWO, "b1": IS_TWO}),
        Member("2", 1.0, evidence={"a1": {FREE: 1.0}, "b1": {FREE: 1.0}}),
    ]
    young = Member("y", 0.5, {"1": 0.5, "2": 0.5}, {"d": 1.0})
    dam = Member("d", 0.0, evidence={"a1": {FREE: 1.0}, "b1": {FREE: 1.0}})
    drawn = sampled(pedigree(*sires, dam, young), [a, b], 60, 1, of=["y"])
    pairs = Counter((one.genotypes["y"]["a1"], one.genotypes["y"]["b1"]) for one in drawn)
    assert set(pairs) == {(FREE, FREE), (ONE, ONE)}
    assert (W, W) == FREE

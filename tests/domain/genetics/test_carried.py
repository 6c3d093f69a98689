"""What animals carry, against textbook values and published test values of other programs."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.domain.genetics.families import (
    FREE,
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
    but,
    close,
    made,
    on_sex_chromosome,
    pedigree,
)
from tests.domain.genetics.mendel import expected

from scalewitness.domain.genetics.arrays import ARRAYS
from scalewitness.domain.genetics.carried import carried, carried_at
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import Member, Parthenogenesis
from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.tables import PLAIN

BOTH = pytest.mark.parametrize("tables", [PLAIN, ARRAYS], ids=["plain", "arrays"])


def _one(chances, genotype=ONE):
    return chances.get(genotype, 0.0)


@BOTH
def test_the_trades_shorthand_comes_out_by_itself(tables):
    """Of two carriers a plain young carries with 2/3, of a carrier and a free one with 1/2
    (tests/vectors/mendel.json, possible_heterozygote)."""
    whole = pedigree(
        animal("sire", known=IS_ONE),
        animal("dam", known=IS_ONE),
        animal("free", known=IS_FREE),
        animal("66", "sire", "dam", known=LOOKS_PLAIN),
        animal("50", "sire", "free", known=LOOKS_PLAIN),
        animal("100", "66", "free", known=IS_ONE),
    )
    found = carried(whole, made(), tables, of=["66", "50"])
    assert _one(found["50"]) == pytest.approx(1 / 2)
    assert _one(found["66"]) == 1.0  # its young tells
    without = carried(pedigree(*list(whole)[:5]), made(), tables)
    assert _one(without["66"]) == pytest.approx(2 / 3)


@pytest.mark.parametrize(
    ("prior", "mate", "chances"),
    [
        ("2/3", IS_TWO, ["2/3", "1/2", "1/3", "1/5", "1/9", "1/17", "1/33", "1/65"]),
        ("2/3", IS_ONE, ["2/3", "3/5", "9/17", "27/59", "81/209", "243/755", "729/2777"]),
        ("1/2", IS_TWO, ["1/2", "1/3", "1/5", "1/9", "1/17", "1/33", "1/65", "1/129"]),
        ("1/2", IS_ONE, ["1/2", "3/7", "9/25", "27/91", "81/337", "243/1267", "729/4825"]),
    ],
)
def test_plain_young_clear_a_parent(prior, mate, chances):
    """Bayes' rule in closed form; 1/2 with three plain young of a showing mate is the course
    problem coursehero p8v61 (1/9)."""
    q = Fraction(prior)
    suspect = animal("s", known={FREE: float(1 - q) / 0.64, ONE: float(q) / 0.32})
    for k, chance in enumerate(chances):
        young = [animal(f"y{n}", "s", "d", known=LOOKS_PLAIN) for n in range(k)]
        found = carried(pedigree(suspect, animal("d", known=mate), *young), made(), of=["s"])
        assert _one(found["s"]) == pytest.approx(close(chance))


def test_affected_sons_and_the_queens_carriage():
    """tests/vectors/mendel.json, x_linked_carrier_queen: 1/9 after three plain sons, the next
    son shows it with 1/18."""
    table = expected("x_linked_carrier_queen")["computed"]
    for sons, chance in table["by_number_of_sons"]:
        young = [
            animal(f"y{n}", "k", "q", male=1.0, known={(W,): 1.0, ("a",): 0.0}) for n in range(sons)
        ]
        queen = animal("q", male=0.0, known={FREE: 1 / 0.64, ONE: 1 / 0.32})
        king = animal("k", male=1.0, known={(W,): 1.0})
        whole = pedigree(queen, king, *young, animal("next", "k", "q", male=1.0))
        found = carried(whole, on_sex_chromosome())
        assert _one(found["q"]) == pytest.approx(close(chance))
        assert found["next"].get(("a",), 0) == pytest.approx(close(chance) / 2)


@BOTH
def test_likelihoods_of_published_pedigrees_with_loops(tables):
    """pedprobr (commit 3de9368), tests/testthat/test-loops.R and README: values of an
    Elston-Stewart program."""
    a = made(numbers={"frequency": 0.2})
    sons = pedigree(animal("1"), animal("2"), animal("3", "1", "2"), animal("4", "1", "2"))
    first = _one(carried(sons, a, tables)["3"])
    told = but(sons, animal("3", "1", "2", known=IS_ONE))
    assert first * _one(carried(told, a, tables)["4"]) == pytest.approx(0.1856)
    twice = pedigree(
        *(animal(one) for one in "12"),
        *(animal(one, "1", "2") for one in "34"),
        animal("5", "1", "3"),
        animal("6", "5", "3"),
    )
    assert carried(twice, a, tables)["6"][TWO] == pytest.approx(0.1)
    b = made(numbers={"frequency": 0.3})
    assert carried(twice, b, tables)["6"][TWO] == pytest.approx(0.16875)
    half = pedigree(
        *(animal(one) for one in "123"),
        animal("4", "1", "2"),
        animal("5", "1", "3"),
        animal("6", "4", "5"),
    )
    assert carried(half, a, tables)["6"][TWO] == pytest.approx(0.06)
    assert carried(half, b, tables)["6"][ONE] == pytest.approx(0.3675)


def test_joint_parents_of_two_heterozygous_sons():
    """pedprobr's README: parents given that both sons are a/b, frequency 0.2."""
    whole = pedigree(
        animal("1"),
        animal("2"),
        animal("3", "1", "2", known=IS_ONE),
        animal("4", "1", "2", known=IS_ONE),
    )
    (group,) = prospects(whole, [made()], "1", "2").groups
    found = {(one.sire["t"], one.dam["t"]): one.chance for one in group.crosses}
    for pair, chance in {
        (TWO, ONE): 0.01724138,
        (TWO, FREE): 0.13793103,
        (ONE, ONE): 0.13793103,
        (ONE, FREE): 0.27586207,
    }.items():
        assert found[pair] == pytest.approx(chance, abs=1e-8)
        assert found[pair[::-1]] == pytest.approx(chance, abs=1e-8)


def test_a_published_loop_on_the_x():
    """pedprobr, test-loops.R: both males with the allele, frequency 0.2: 0.08."""
    x = on_sex_chromosome(numbers={"frequency": 0.2})
    whole = [
        animal("1", male=0.0),
        animal("2", male=1.0),
        animal("3", male=1.0),
        animal("4", "2", "1", male=1.0),
        animal("5", "3", "1", male=0.0),
        animal("6", "4", "5", male=1.0),
    ]
    first = carried(pedigree(*whole), x)["4"][("a",)]
    told = but(whole, animal("4", "2", "1", male=1.0, known={("a",): 1.0}))
    assert first * carried(told, x)["6"][("a",)] == pytest.approx(0.08)


@pytest.mark.parametrize("penetrance", ["1/2", "3/5", "3/4", "4/5", "9/10"])
def test_a_dominant_trait_that_does_not_always_show(penetrance):
    """The plain young of Aa × aa carries with (1 − f)/(2 − f): 1/6 for f = 4/5 (closed form)."""
    f = Fraction(penetrance)
    young = animal("y", "s", "d", known={FREE: 1.0, ONE: float(1 - f)})
    whole = pedigree(animal("s", known=IS_ONE), animal("d", known=IS_FREE), young)
    assert _one(carried(whole, made())["y"]) == pytest.approx(close((1 - f) / (2 - f)))


@pytest.mark.parametrize(("system", "species"), [("XY", XY), ("ZW", ZW)])
def test_crosses_on_a_sex_chromosome(system, species):
    """tests/vectors/mendel.json, sex_linked_cross_tables, every cross of both systems."""
    for name, row in expected("sex_linked_cross_tables")["tables"][system].items():
        genotypes = {
            part.split()[0]: part.split()[1].replace(system[0], "").replace(system[1], "")
            for part in name.split(" x ")
        }
        parents = [
            Member(
                sex,
                float(sex == "male"),
                evidence={"t": {_genotype(letters): 1.0}},
            )
            for sex, letters in genotypes.items()
        ]
        young = [animal(sex, "male", "female", male=float(sex == "sons")) for sex in YOUNG]
        found = carried(pedigree(*parents, *young), on_sex_chromosome(species))
        for sex in YOUNG:
            wanted = {
                _genotype(letters.strip("YW")): close(chance)
                for letters, chance in row[sex].items()
            }
            assert found[sex] == pytest.approx(wanted), (name, sex)


YOUNG = ("sons", "daughters")


def _genotype(letters):
    return tuple(sorted(({"A": W, "a": "a"}[one] for one in letters), key=[W, "a"].index))


def test_a_female_is_nobodys_sire_where_the_trait_goes_with_sex():
    """An unknown animal is then: of its X a daughter gets one, free of it with 0.8. Nor does
    being named a sire make a male of an animal."""
    members = [
        animal("s", male=0.0, known=IS_TWO),
        animal("d", male=0.0, known=IS_FREE),
        animal("y", "s", "d", male=0.0),
    ]
    found = carried(pedigree(*members), on_sex_chromosome())
    assert found["y"] == pytest.approx({FREE: 0.8, ONE: 0.2})
    unsure = carried(pedigree(animal("s", male=0.4), animal("y", "s")), on_sex_chromosome())
    assert sum(p for genotype, p in unsure["s"].items() if len(genotype) == 1) == pytest.approx(0.4)


def test_a_stray_sire_by_stored_sperm_is_found_out_by_what_young_show():
    """Half a clutch of one sire, half of an unknown animal, as Bayes' rule has it by hand."""
    young = Member("y", 0.5, {"s": 0.9}, {"d": 1.0}, evidence={"t": IS_TWO})
    whole = pedigree(animal("s"), animal("d", known=IS_TWO), young)
    known = carried(whole, made(numbers={"frequency": 0.2}))
    ours, other = 0.9 * 0.32 * 0.5, 0.1 * 0.2 * 0.32
    both = 0.9 * 0.04 + 0.1 * 0.2 * 0.04
    neither = 0.1 * 0.2 * 0.64
    assert _one(known["s"]) == pytest.approx((ours + other) / (ours + other + both + neither))


def test_the_young_of_a_litter_have_one_sire_whoever_it_is():
    """One young that the likelier sire cannot have takes him from all of the litter."""

    def litter(key):
        return [
            Member(
                f"y{n}",
                0.5,
                {"s": 0.9, "other": 0.1},
                {"d": 1.0},
                evidence={"t": IS_TWO} if n == 0 else {},
                litter=key,
            )
            for n in range(2)
        ]

    base = [
        animal("s", known=IS_FREE),
        animal("other", known=IS_TWO),
        animal("d", known=IS_TWO),
    ]
    assert carried(pedigree(*base, *litter("l")), made())["y1"] == {TWO: 1.0}
    assert carried(pedigree(*base, *litter(None)), made())["y1"][ONE] == pytest.approx(0.9)


def test_what_one_locus_tells_of_parents_counts_at_another():
    a, b = made("a1"), made("b1", numbers={"frequency": 0.3})
    base = [
        Member("s", 1.0, evidence={"a1": IS_FREE, "b1": IS_FREE}),
        Member("other", 1.0, evidence={"a1": IS_TWO, "b1": IS_TWO}),
        Member("d", 0.0, evidence={"a1": IS_TWO, "b1": IS_FREE}),
        Member("y", 0.5, {"s": 0.9, "other": 0.1}, {"d": 1.0}, evidence={"a1": IS_TWO}),
    ]
    found = carried_at(pedigree(*base), [a, b])
    assert found.chances["b1"]["y"] == {ONE: 1.0}
    assert not found.apart
    assert carried(pedigree(*base), b)["y"][ONE] == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("homozygosity", "shares"),
    [(1.0, {FREE: 0.5, TWO: 0.5}), (0.0, {ONE: 1.0}), (0.5, {FREE: 0.25, ONE: 0.5, TWO: 0.25})],
)
def test_young_without_a_sire(homozygosity, shares):
    """Terminal fusion without crossing over: a carrier's young are 1:1, none carries; the 3:3 of
    an unmated reticulated python fit it (Booth et al. 2014, Biol J Linn Soc 112:461)."""
    young = Member("y", 0.5, {}, {"d": 1.0}, parthenogenesis=Parthenogenesis(1.0, homozygosity))
    assert carried(pedigree(animal("d", known=IS_ONE), young), made())["y"] == pytest.approx(shares)


@pytest.mark.parametrize(
    ("species", "dam", "homozygosity", "shares"),
    [
        (XY, IS_ONE, 1.0, {FREE: 0.5, TWO: 0.5}),
        (ZW, {("a",): 1.0}, 1.0, {TWO: 1.0}),
        (ZW, {("a",): 1.0}, 0.0, {("a",): 1.0}),
    ],
)
def test_the_sex_chromosomes_decide_the_sex_of_young_without_a_sire(
    species, dam, homozygosity, shares
):
    """XX from XX, always daughters; of a ZW dam ZZ, because WW does not live: sons, unless both of
    hers stay together."""
    young = Member("y", 0.5, {}, {"d": 1.0}, parthenogenesis=Parthenogenesis(1.0, homozygosity))
    whole = pedigree(animal("d", male=0.0, known=dam), young)
    assert carried(whole, on_sex_chromosome(species))["y"] == pytest.approx(shares)


def test_a_showing_young_of_an_unmated_dam_says_nothing_of_a_male():
    young = Member(
        "y",
        0.5,
        {"s": 1.0},
        {"d": 1.0},
        parthenogenesis=Parthenogenesis(1.0),
        evidence={"t": IS_TWO},
    )
    whole = pedigree(animal("s"), animal("d", known=IS_ONE), young)
    alone = carried(pedigree(animal("s")), made())
    assert carried(whole, made())["s"] == pytest.approx(alone["s"])


def test_a_lethal_pair_of_alleles_is_not_met_in_living_young():
    """Two yellow mice: 2 yellow to 1 other (tests/vectors/mendel.json, dominant_lethal)."""
    assert expected("dominant_lethal_yellow_mouse")["expected_ratio"] == [2, 1]
    yellow = made(
        inheritance="dominant",
        harm=[
            {
                "genotypes": ["a/a"],
                "kind": "lethal",
                "caution": "They die before birth.",
                "source": "",
                "status": "published",
            }
        ],
    )
    whole = pedigree(animal("s", known=IS_ONE), animal("d", known=IS_ONE), animal("y", "s", "d"))
    assert carried(whole, yellow)["y"] == pytest.approx({ONE: 2 / 3, FREE: 1 / 3})


def test_what_cannot_all_be_true():
    whole = pedigree(
        animal("s", known=IS_FREE), animal("d", known=IS_FREE), animal("y", "s", "d", known=IS_TWO)
    )
    with pytest.raises(Contradiction):
        carried(whole, made())


# --- properties ---------------------------------------------------------------------------

KNOWN = st.sampled_from([None, LOOKS_PLAIN, IS_ONE, {FREE: 0.02, ONE: 0.03, TWO: 1.0}])


@st.composite
def families(draw, known=KNOWN):
    """Up to nine animals, loops and uncertain parents among them."""
    found = []
    for n in range(draw(st.integers(2, 9))):
        names = [one.id for one in found]
        parents = []
        for _ in range(2):
            some = draw(st.lists(st.sampled_from(names), max_size=2, unique=True)) if names else []
            parents.append({one: 0.7 / len(some) for one in some})
        one = animal(f"n{n}", male=draw(st.sampled_from([0.0, 0.3, 0.5, 1.0])), known=draw(known))
        found.append(Member(one.id, one.male, parents[0], parents[1], evidence=one.evidence))
    return found


CHECKS = settings(max_examples=40, deadline=None)


@CHECKS
@given(families(), st.randoms())
def test_the_order_of_what_is_known_does_not_matter(members, dice):
    mixed = list(members)
    dice.shuffle(mixed)
    found, again = carried(pedigree(*members), made()), carried(pedigree(*mixed), made(), ARRAYS)
    for one in members:
        assert found[one.id] == pytest.approx(again[one.id], abs=1e-12)


@CHECKS
@given(families(known=st.none()))
def test_withdrawing_everything_returns_the_prior(members):
    """In a pedigree of which nothing is known everyone is as the alleles' frequencies have it,
    but for inbreeding."""
    for chances in carried(pedigree(*members), made()).values():
        alleles = 2 * chances.get(TWO, 0.0) + chances.get(ONE, 0.0)
        assert alleles / 2 == pytest.approx(0.2)


@CHECKS
@given(families(), st.data())
def test_an_animal_of_which_nothing_is_known_changes_nothing(members, data):
    names = st.sampled_from([one.id for one in members])
    more = animal("more", data.draw(names), data.draw(names))
    before = carried(pedigree(*members), made())
    after = carried(pedigree(*members, more), made())
    for one in members:
        assert after[one.id] == pytest.approx(before[one.id], abs=1e-12)


@CHECKS
@given(families(known=st.sampled_from([None, {FREE: 1.0, ONE: 0.2, (W,): 0.6, ("a",): 0.1}])))
def test_mirrored_sexes_mirror_a_trait_on_the_x_into_one_on_the_z(members):
    mirrored = [
        Member(one.id, 1 - one.male, one.dams, one.sires, evidence=one.evidence) for one in members
    ]
    found = carried(pedigree(*members), on_sex_chromosome(XY))
    again = carried(pedigree(*mirrored), on_sex_chromosome(ZW))
    for one in members:
        assert found[one.id] == pytest.approx(again[one.id], abs=1e-12)

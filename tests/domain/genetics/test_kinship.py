"""Kinship and inbreeding: coefficients worked out by hand, by sgkit and in textbooks."""

from fractions import Fraction

import pytest
from tests.domain.genetics.families import animal, pedigree

from scalewitness.domain.genetics.kinship import Kinship
from scalewitness.domain.genetics.pedigree import Member, Parthenogenesis


def _inbreeding(kinship, one):
    """From an animal's kinship with itself, ½(1 + F)."""
    return 2 * kinship.of(one, one) - 1


def _of(*rows):
    """Rows of "young sire dam", or of a founder alone."""
    return pedigree(*(animal(*row.split()) for row in rows))


SIBS = ("1", "2", "3 1 2", "4 1 2")
COUSINS = (*SIBS, "5", "6", "7 3 5", "8 4 6")


@pytest.mark.parametrize(
    ("rows", "pair", "f"),
    [
        (SIBS, "34", "1/4"),
        (SIBS, "13", "1/4"),
        (("1", "2", "3", "4 1 2", "5 1 3"), "45", "1/8"),
        ((*SIBS, "5", "6 4 5"), "36", "1/8"),
        (("1", "2", "3 1 2", "4", "5 3 4"), "15", "1/8"),
        (COUSINS, "78", "1/16"),
        (("1", "2", "3 1 2", "4 1 2", "5", "6", "7 5 6", "8 5 6", "9 3 7", "0 4 8"), "90", "1/8"),
    ],
    ids=["sibs", "parent", "half sibs", "uncle", "grandsire", "cousins", "double cousins"],
)
def test_usual_relatives(rows, pair, f):
    """First cousins' 1/16 is Wright's (ihh.kvl.dk 4.2), half sibs' 1/8 of Vigeland's lecture
    (2026); all agree with sgkit 0.10.0, pedigree_inbreeding."""
    assert Kinship(_of(*rows)).of(*pair) == pytest.approx(float(Fraction(f)))


def test_generations_of_full_sibs():
    """1/4, 3/8, 1/2, 19/32, 43/64, 47/64, 201/256 (sgkit 0.10.0 agrees)."""
    rows, before = ["a0", "b0"], ("a0", "b0")
    found = []
    for n in range(1, 9):
        rows += [f"{one}{n} {before[0]} {before[1]}" for one in "ab"]
        before = (f"a{n}", f"b{n}")
        found.append(_inbreeding(Kinship(_of(*rows)), f"a{n}"))
    wanted = ["0", "1/4", "3/8", "1/2", "19/32", "43/64", "47/64", "201/256"]
    assert found == pytest.approx([float(Fraction(one)) for one in wanted])


def test_back_to_one_sire():
    """1/4, 3/8, 7/16, 15/32, 31/64 (sgkit 0.10.0 agrees)."""
    rows = ["s", "d", "y0 s d", *(f"y{n} s y{n - 1}" for n in range(1, 6))]
    kinship = Kinship(_of(*rows))
    wanted = ["1/4", "3/8", "7/16", "15/32", "31/64"]
    found = [_inbreeding(kinship, f"y{n}") for n in range(1, 6)]
    assert found == pytest.approx([float(Fraction(one)) for one in wanted])


def test_a_published_pedigree_of_seventeen():
    """Legarra et al. 2009, J Dairy Sci 92:4660: animal 16 is inbred by 1/16, no other."""
    sires = [0, 0, 0, 0, 0, 0, 0, 0, 1, 3, 5, 7, 9, 11, 4, 13, 13]
    dams = [0, 0, 0, 0, 0, 0, 0, 0, 2, 4, 6, 8, 10, 12, 11, 15, 14]
    members = [
        animal(str(n), str(s) if s else None, str(d) if d else None)
        for n, (s, d) in enumerate(zip(sires, dams, strict=True), 1)
    ]
    kinship = Kinship(pedigree(*members))
    found = {n: _inbreeding(kinship, str(n)) for n in range(1, 18)}
    assert found == pytest.approx(dict.fromkeys(range(1, 18), 0.0) | {16: 1 / 16})


def test_uncertain_parents_weigh_with_their_chances():
    """A sire with one half: half of a parent's kinship (closed form)."""
    young = Member("y", 0.5, {"s": 0.5}, {"d": 1.0})
    kinship = Kinship(pedigree(animal("s"), animal("d"), young))
    assert kinship.of("s", "y") == pytest.approx(1 / 8)
    assert kinship.of("d", "y") == pytest.approx(1 / 4)


def test_a_litter_of_one_unknown_sire_is_of_full_sibs():
    def young(key, litter):
        return Member(key, 0.5, {}, {"d": 1.0}, litter=litter)

    one = Kinship(pedigree(animal("d"), young("1", "l"), young("2", "l")))
    assert one.of("1", "2") == pytest.approx(1 / 4)
    apart = Kinship(pedigree(animal("d"), young("1", None), young("2", None)))
    assert apart.of("1", "2") == pytest.approx(1 / 8)


@pytest.mark.parametrize(("homozygosity", "f"), [(1.0, 1.0), (0.0, 0.0), (0.5, 0.5)])
def test_young_without_a_sire(homozygosity, f):
    """Terminal fusion without crossing over leaves nothing heterozygous: F = 1 (closed form)."""
    alone = Member("y", 0.5, {}, {"d": 1.0}, Parthenogenesis(1.0, homozygosity))
    kinship = Kinship(pedigree(animal("d"), alone))
    assert _inbreeding(kinship, "y") == pytest.approx(f)
    assert kinship.of("y", "d") == pytest.approx(1 / 2)


def test_a_long_line_is_no_harm():
    rows = ["s", "d", "y0 s d", *(f"y{n} s y{n - 1}" for n in range(1, 3000))]
    assert _inbreeding(Kinship(_of(*rows)), "y2999") == pytest.approx(0.5)

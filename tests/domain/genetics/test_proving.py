"""What young prove of a parent."""

from fractions import Fraction

import pytest
from tests.domain.genetics.families import (
    FREE,
    IS_FREE,
    IS_ONE,
    IS_TWO,
    ONE,
    W,
    animal,
    close,
    made,
    on_sex_chromosome,
    pedigree,
)
from tests.domain.genetics.mendel import expected

from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.proving import proof

MAYBE = {FREE: 1 / 0.64, ONE: 2 / 0.32}
"""Of a stranger, frequency 0.2: carries with 2/3."""


def _proof(sire, dam, at=None, **more):
    whole = pedigree(animal("s", male=1.0, known=sire), animal("d", male=0.0, known=dam))
    return proof(prospects(whole, [at or made()], "s", "d"), "sire", "t", "a", **more)


@pytest.mark.parametrize("prior", ["2/3", "1/2"])
def test_so_many_plain_young_of_a_showing_mate_are_needed(prior):
    """tests/vectors/mendel.json, possible_heterozygote."""
    table = expected("possible_heterozygote")["normal_offspring_needed_to_fall_below"][prior]
    q = Fraction(prior)
    found = _proof({FREE: float(1 - q) / 0.64, ONE: float(q) / 0.32}, IS_TWO)
    assert found.carries(0) == pytest.approx(close(prior))
    for below, young in table.items():
        assert found.needed(1 - float(below)) == young


def test_a_carrier_for_a_mate_proves_less():
    """2/3, 3/5, 9/17, 27/59, 81/209, 243/755, 729/2777 (closed form)."""
    found = _proof(MAYBE, IS_ONE)
    wanted = ["2/3", "3/5", "9/17", "27/59", "81/209", "243/755", "729/2777"]
    assert [found.carries(k) for k in range(7)] == pytest.approx(list(map(close, wanted)))
    assert found.needed() == 13  # (2/3)(3/4)^13 / ((2/3)(3/4)^13 + 1/3) = 0.0453


def test_a_free_mate_proves_nothing():
    assert _proof(MAYBE, IS_FREE).needed() is None


def test_a_brother_and_a_sister_clear_each_other_less():
    """Sire a carrier, dam free: the brother carries with 1/2, 7/15, 1267/3315 and
    1107625/3204777 after 0, 1, 5 and 10 plain young (closed form). Two strangers who carry with
    one half each would be at 8/23 after five."""
    whole = pedigree(
        animal("1", male=1.0, known=IS_ONE),
        animal("2", male=0.0, known=IS_FREE),
        animal("s", "1", "2", male=1.0),
        animal("d", "1", "2", male=0.0),
    )
    found = proof(prospects(whole, [made()], "s", "d"), "sire", "t", "a")
    for k, chance in {0: "1/2", 1: "7/15", 5: "1267/3315", 10: "1107625/3204777"}.items():
        assert found.carries(k) == pytest.approx(close(chance))
    assert found.needed() is None  # her being free explains any number


@pytest.mark.parametrize("males", [True, False, None])
def test_sons_prove_their_dam_where_the_trait_is_on_the_x(males):
    """tests/vectors/mendel.json, x_linked_carrier_queen, by the number of plain sons; daughters of
    a plain sire prove nothing; of young not told apart each shows it with 1/4."""
    queen = {FREE: 1 / 0.64, ONE: 1 / 0.32}
    whole = pedigree(animal("s", male=1.0, known={(W,): 1.0}), animal("d", male=0.0, known=queen))
    found = proof(prospects(whole, [on_sex_chromosome()], "s", "d"), "dam", "t", "a", males=males)
    for sons, chance in expected("x_linked_carrier_queen")["computed"]["by_number_of_sons"]:
        if males:
            assert found.carries(sons) == pytest.approx(close(chance))
        elif males is False:
            assert found.carries(sons) == pytest.approx(1 / 2)
        else:
            assert found.carries(sons) == pytest.approx(0.75**sons / (0.75**sons + 1))
    assert found.needed() == {True: 5, False: None, None: 11}[males]


def test_no_number_below_none():
    with pytest.raises(ValueError, match="fewer young"):
        _proof(MAYBE, IS_TWO).carries(-1)

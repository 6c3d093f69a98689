"""Where a pedigree is too tangled: honest bounds, and the same said of prospects and draws."""

from random import Random

import pytest
from tests.domain.genetics.families import (
    FREE,
    IS_ONE,
    IS_TWO,
    LOOKS_PLAIN,
    ONE,
    TWO,
    animal,
    made,
    on_sex_chromosome,
    pedigree,
)

from scalewitness.domain.genetics.arrays import Arrays
from scalewitness.domain.genetics.carried import Bounded, carried, carried_at
from scalewitness.domain.genetics.elimination import TooTangled, tree
from scalewitness.domain.genetics.passing import Contradiction
from scalewitness.domain.genetics.pedigree import Member
from scalewitness.domain.genetics.prospects import prospects
from scalewitness.domain.genetics.sampling import sampled
from scalewitness.domain.genetics.tables import Plain


class Narrow(Plain):
    """No room for anything but bounds."""

    most_entries = 1


class NarrowArrays(Arrays):
    most_entries = 1


@pytest.fixture(autouse=True)
def _little_room(monkeypatch):
    monkeypatch.setattr("scalewitness.domain.genetics.bounds.ROOM", 2000)


def _herd(dice):
    """Animals that go back to four, near relatives mated with each other."""
    known = [None, None, LOOKS_PLAIN, IS_ONE, {FREE: 0.01, ONE: 0.01, TWO: 1.0}]
    found = [animal(f"n{n}", male=float(n % 2), known=dice.choice(known)) for n in range(4)]
    for n in range(4, dice.randint(16, 30)):
        sire, dam = dice.sample(range(max(0, n - 8), n), 2)
        parents = (f"n{sire}", f"n{dam}")
        found.append(animal(f"n{n}", *parents, known=dice.choice([*known, LOOKS_PLAIN])))
    return pedigree(*found)


@pytest.mark.parametrize("narrow", [Narrow(), NarrowArrays()], ids=["plain", "arrays"])
def test_the_bounds_enclose_the_truth(narrow):
    tried = 0
    for seed in range(40):
        whole = _herd(Random(seed))  # noqa: S311  chosen to be repeatable
        try:
            exact = carried(whole, made())
        except Contradiction:
            continue
        tried += 1
        asked = [one.id for one in whole][::5]
        for name, bounds in carried(whole, made(), narrow, of=asked).items():
            assert isinstance(bounds, Bounded)
            for genotype in made().genotypes:
                truth = exact[name].get(genotype, 0.0)
                assert bounds.low[genotype] - 1e-9 <= truth <= bounds.high[genotype] + 1e-9
    assert tried > 8


def test_they_are_narrow_where_the_tangle_is_far_away():
    """Of the young of two parents whose genotypes are known nothing else matters; of one whose
    grandparents stand near the edge, only what they can be."""
    line = range(2, 60)
    members = [
        animal("g0"),
        animal("g1"),
        *(animal(f"g{n}", f"g{n - 1}", f"g{n - 2}", known=LOOKS_PLAIN) for n in line),
        animal("d", known=IS_TWO),
        animal("p", "g59", "g58"),
        animal("y", "p", "d"),
        animal("last", known=IS_ONE),
        animal("z", "last", "d", known=LOOKS_PLAIN),
        animal("yz", "y", "z"),
    ]
    whole = pedigree(*members)
    found, exact = carried(whole, made(), Narrow()), carried(whole, made())
    assert found["z"].low[ONE] == pytest.approx(1.0)
    assert 0 < found["y"].low[ONE] < exact["y"][ONE]
    assert exact["y"][TWO] < found["y"].high[TWO] < 1


def test_at_a_sex_chromosome_and_of_uncertain_parents():
    x = on_sex_chromosome()
    members = [animal("a", male=0.9), animal("b", male=0.2)]
    members += [
        Member(
            f"y{n}",
            0.5,
            {"a": 0.7, "b": 0.1},
            {"b": 0.8},
            evidence={"t": {**LOOKS_PLAIN, TWO: 0.01, ("a",): 0.02}},
        )
        for n in range(4)
    ]
    whole = pedigree(*members)
    found, exact = carried(whole, x, Narrow()), carried(whole, x)
    for name, bounds in found.items():
        for genotype, truth in exact[name].items():
            assert bounds.low[genotype] - 1e-9 <= truth <= bounds.high[genotype] + 1e-9


def test_prospects_and_draws_say_that_they_are_too_tangled():
    whole = pedigree(animal("s"), animal("d"), animal("y", "s", "d", known=IS_TWO))
    with pytest.raises(TooTangled):
        prospects(whole, [made()], "s", "d", Narrow())
    with pytest.raises(TooTangled):
        sampled(whole, [made()], 1, 1, Narrow())


def test_uncertain_parents_at_many_loci_are_judged_at_each_by_itself_and_it_is_said():
    """Sixty young, each of one of two sires: what one locus tells of each at another would take a
    table over all of them."""
    loci = [made(f"{one}1") for one in "abcd"]
    known = {one.key: {**LOOKS_PLAIN, TWO: 0.01} for one in loci}
    members = [Member(one, evidence=known) for one in ("s1", "s2", "d1", "d2")]
    for n in range(60):
        dam = f"d{n % 2 + 1}"
        members.append(Member(f"y{n}", 0.5, {"s1": 0.5, "s2": 0.5}, {dam: 1.0}, evidence=known))
    whole = pedigree(*members)
    found = carried_at(whole, loci)
    assert found.apart == {one.id for one in members}
    alone = carried(whole, loci[0])
    assert found.chances["a1"]["y7"] == pytest.approx(alone["y7"])


def test_the_limit_is_on_all_entries_together():
    scopes = [(0, 1), (1, 2)]
    assert tree([3, 3, 3], scopes, 21).entries == 21  # 9 + 9 + 3
    with pytest.raises(TooTangled):
        tree([3, 3, 3], scopes, 20)

"""What statements say of a genotype. Where a value is a judgement of ours, only its consequences
are checked."""

import pytest
from tests.domain.genetics.families import (
    FREE,
    IS_TWO,
    LOOKS_PLAIN,
    ONE,
    TWO,
    W,
    animal,
    made,
    on_sex_chromosome,
    pedigree,
    stated,
)

from scalewitness.domain.genetics.carried import carried
from scalewitness.domain.genetics.evidence import chance_of, evidence, likelihoods, meaning
from scalewitness.domain.genetics.pedigree import Member
from scalewitness.domain.genetics.traits import locus

RARE = made(numbers={"frequency": 0.001})


def _of_a_stranger(*statements, at=RARE):
    """What an animal of unknown origin carries, of which that is stated."""
    one = Member("x", 0.5, evidence=evidence(statements, [at]))
    return carried(pedigree(one), at)["x"]


@pytest.mark.parametrize(
    ("statement", "share"),
    [
        (stated("shows"), 0.99),
        (stated("shows", "claimed"), 0.9),
        (stated("carries_one", "claimed"), 0.9),
        (stated("carries_two", "dna"), 0.999),
        (stated("may_carry", "claimed", chance=0.66), 0.66),
    ],
)
def test_of_a_stranger_a_statement_is_right_as_often_as_the_sheet_says(statement, share):
    found = _of_a_stranger(statement)
    assert chance_of(RARE, statement.says, None, found) == pytest.approx(share)


@pytest.mark.parametrize("basis", ["seen", "claimed", "dna"])
def test_that_something_is_not_there_leaves_a_stranger_as_plain_as_it_was(basis):
    says = "does_not_show" if basis == "seen" else "carries_none"
    found = _of_a_stranger(stated(says, basis))
    before = _of_a_stranger()
    assert chance_of(RARE, says, None, found) >= chance_of(RARE, says, None, before)


@pytest.mark.parametrize(
    "again",
    [
        [stated("carries_one", "claimed")] * 60,
        [stated("carries_one", "claimed", allele="a")],
        [stated("carries_one", "parents"), stated("carries_one", "young")],
        [stated("may_carry", "claimed", chance=0.66)],
    ],
    ids=["by many", "with the allele named", "on other bases", "as a chance"],
)
def test_the_same_thing_stated_again_counts_once(again):
    one = _of_a_stranger(stated("carries_one", "claimed"))
    assert _of_a_stranger(stated("carries_one", "claimed"), *again) == pytest.approx(one)


def test_seen_and_tested_count_besides():
    claimed = _of_a_stranger(stated("carries_two", "claimed"))
    seen = _of_a_stranger(stated("carries_two", "claimed"), stated("shows", "seen"))
    tested = _of_a_stranger(stated("carries_two", "claimed"), stated("carries_two", "dna"))
    assert claimed[TWO] < seen[TWO] < tested[TWO]


def test_what_is_concluded_from_relatives_counts_no_second_time():
    parents = [stated("carries_one", "parents"), stated("may_carry", "claimed", chance=0.5)]
    assert evidence(parents, [RARE], has_parents=True) == {}
    assert evidence(parents, [RARE]) != {}
    assert evidence([stated("carries_one", "young")], [RARE], has_young=True) == {}


def test_two_who_contradict_each_other_leave_it_between():
    found = _of_a_stranger(stated("shows"), stated("does_not_show"))
    assert 0.1 < chance_of(RARE, "shows", None, found) < 0.9


def test_a_claim_gives_way_to_its_young():
    """Ten plain young of a showing mate: at most 1 in 100 is left of 9 in 10."""
    claim = evidence([stated("carries_one", "claimed")], [RARE])
    young = [animal(f"y{n}", "s", "d", known=LOOKS_PLAIN) for n in range(10)]
    whole = pedigree(Member("s", 1.0, evidence=claim), animal("d", known=IS_TWO), *young)
    assert chance_of(RARE, "carries_one", None, carried(whole, RARE)["s"]) <= 0.01


def test_a_claim_stands_against_a_misread_young():
    """A showing dam whose young of a sire sold as free of it shows it: one of them was misread, and
    nobody is sure of the other."""
    free = evidence([stated("carries_none", "claimed")], [RARE])
    shows = evidence([stated("shows")], [RARE], has_parents=True)
    young = Member("y", 0.5, {"s": 1.0}, {"d": 1.0}, evidence=shows)
    whole = pedigree(Member("s", 1.0, evidence=free), animal("d", known=IS_TWO), young)
    found = carried(whole, RARE)
    assert 0.01 < found["y"][TWO] < 1


def test_one_way_of_showing_taken_for_another():
    series = locus("pantherophis_guttatus", "clcn2")
    seen = likelihoods(series, stated("shows", locus="clcn2", allele="motley"))
    assert seen["motley", "stripe"] == seen["motley", "motley"]
    assert 0 < seen["stripe", "stripe"] < seen["motley", "motley"]
    assert seen[W, W] < seen["stripe", "stripe"]


def test_what_statements_mean():
    assert meaning(RARE, "shows", None) == {TWO}
    assert meaning(RARE, "does_not_show", None) == {FREE, ONE}
    assert meaning(RARE, "carries_one", "a") == {ONE}
    assert meaning(RARE, "carries_none", None) == {FREE}
    x = on_sex_chromosome()
    assert meaning(x, "shows", None) == {TWO, ("a",)}
    assert meaning(x, "carries_one", None) == {ONE, ("a",)}
    amel = locus("pantherophis_guttatus", "amelanism")
    assert meaning(amel, "shows", "ultramel") == {("ultra", "amelanistic")}
    glow = locus("python_regius", "coral_glow")
    assert meaning(glow, "shows", None) == {(W, "coral_glow"), ("coral_glow", "coral_glow")}


def test_penetrance_and_words_of_the_keepers_own():
    """Does not show, f = 4/5: a carrier is noted so with 1/5 (and overlooked never, here)."""
    some = made(inheritance="dominant", numbers={"penetrance": 0.8, "overlooked": 0.0})
    seen = likelihoods(some, stated("does_not_show"))
    assert (seen[FREE], seen[ONE]) == (1.0, pytest.approx(0.2))
    assert evidence([stated("shows", locus=None)], [some]) == {}
    unknown = locus("python_regius", "ednrb")
    assert evidence([stated("shows", locus="ednrb")], [unknown]) == {}

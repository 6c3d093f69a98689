"""The prior from a trait inherited with sex.

Mallery and Carrillo (2016): carrying sons of carrying sires had mainly carrying sons and
plain daughters; carrying sons of carrying dams the reverse; the trait behaves as if males
were XY. The recombination fraction was not at hand (keepers speak of single digits).
"""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.domain.sexing.builders import male, standing

from scalewitness.domain.sexing.linked_trait import (
    ImpossibleYoung,
    Parents,
    linked_prior,
    linked_traits,
    p_male,
)
from scalewitness.domain.sexing.tables import table

GLOW = linked_traits()["coral_glow"]
R = Fraction(1, 20)


def test_a_carrying_son_of_a_carrying_sire():
    found = linked_prior(GLOW, Parents(1, 0, "Y"), "one_copy")
    assert (found.p_male, found.low, found.high) == pytest.approx((0.95, 0.9, 0.99))
    plain = linked_prior(GLOW, Parents(1, 0, "Y"), "nothing")
    assert plain.p_male == pytest.approx(0.05)


def test_a_carrying_son_of_a_carrying_dam():
    found = linked_prior(GLOW, Parents(1, 0, "X"), "one_copy")
    assert (found.p_male, found.low, found.high) == pytest.approx((0.05, 0.01, 0.1))


@pytest.mark.parametrize(
    ("parents", "shows"),
    [
        (Parents(1, 0), "one_copy"),  # phase unknown
        (Parents(1, 1), "some_copies"),
        (Parents(1, 1), "nothing"),
        (Parents(0, 1), "one_copy"),  # from the dam: sons and daughters alike
        (Parents(2, 0, "Y"), "one_copy"),
        (Parents(2, 1), "two_copies"),
    ],
)
def test_without_a_known_phase_nothing_changes(parents, shows):
    found = linked_prior(GLOW, parents, shows)
    assert (found.p_male, found.low, found.high) == (0.5, 0.5, 0.5)
    assert "says nothing about sex" in found.cautions[0]


@pytest.mark.parametrize(
    ("parents", "shows", "expected"),
    [
        # Both parents carry: one copy comes from either, two from both, none from neither.
        (Parents(1, 1, "Y"), "two_copies", 1 - R),
        (Parents(1, 1, "Y"), "one_copy", Fraction(1, 2)),
        (Parents(1, 1, "Y"), "nothing", R),
        # Some copy: (1 − r) + r/2 in sons, r + (1 − r)/2 in daughters.
        (Parents(1, 1, "Y"), "some_copies", (1 - R + R / 2) / (Fraction(3, 2))),
        (Parents(1, 2, "Y"), "two_copies", 1 - R),
        (Parents(1, 2, "X"), "one_copy", 1 - R),
    ],
)
def test_both_parents_by_hand(parents, shows, expected):
    assert p_male("XY", parents, shows, R) == expected


def test_with_z_and_w_it_is_the_dam_who_decides():
    assert p_male("ZW", Parents(0, 1, "W"), "one_copy", R) == R
    assert p_male("ZW", Parents(0, 1, "Z"), "one_copy", R) == 1 - R
    assert p_male("ZW", Parents(1, 0), "one_copy", R) == Fraction(1, 2)


COPIES = st.sampled_from([0, 1, 2])
FRACTIONS = st.fractions(0, Fraction(1, 2))


@given(COPIES, COPIES, st.sampled_from("XY"), FRACTIONS)
def test_the_two_systems_mirror_each_other(sire, dam, beside, r):
    other = {"X": "Z", "Y": "W"}[beside]
    for shows in ("nothing", "one_copy", "two_copies", "some_copies"):
        try:
            x = p_male("XY", Parents(sire, dam, beside), shows, r)
        except ImpossibleYoung:
            with pytest.raises(ImpossibleYoung):
                p_male("ZW", Parents(dam, sire, other), shows, r)
        else:
            assert p_male("ZW", Parents(dam, sire, other), shows, r) == 1 - x


@given(COPIES, COPIES, st.sampled_from([None, "X", "Y"]), FRACTIONS)
def test_no_looks_say_more_than_the_linkage_allows(sire, dam, beside, r):
    for shows in ("nothing", "one_copy", "two_copies"):
        try:
            found = p_male("XY", Parents(sire, dam, beside), shows, r)
        except ImpossibleYoung:
            continue
        assert r <= found <= 1 - r


@given(FRACTIONS, st.sampled_from("XY"))
def test_unlinked_is_no_evidence(r, beside):
    found = p_male("XY", Parents(1, 0, beside), "one_copy", Fraction(1, 2))
    assert found == Fraction(1, 2)
    near = p_male("XY", Parents(1, 0, "Y"), "one_copy", r)
    assert near == 1 - r


def test_young_these_parents_cannot_have():
    with pytest.raises(ImpossibleYoung):
        linked_prior(GLOW, Parents(0, 0), "one_copy")
    with pytest.raises(ImpossibleYoung):
        linked_prior(GLOW, Parents(1, 2, "Y"), "nothing")
    with pytest.raises(ValueError, match="no W chromosome"):
        linked_prior(GLOW, Parents(1, 0, "W"), "one_copy")


def test_the_caution_says_that_the_fraction_is_missing():
    found = linked_prior(GLOW, Parents(1, 0, "Y"), "one_copy")
    assert "not published where we could read it" in found.cautions[0]
    assert "1 to 10 in 100" in found.cautions[0]
    assert "needs a check" in found.cautions[-1]


def test_the_prior_alone_is_no_label_beyond_probable():
    found = linked_prior(replace(GLOW, r=0.001), Parents(1, 0, "Y"), "one_copy")
    assert standing(prior_male=found.p_male).label == "probable male"
    assert standing(male("ash"), prior_male=found.p_male).label == "probable male"


def test_the_data_say_where_they_come_from():
    for key, row in table("linkage.toml").items():
        assert row["linkage_status"] == "published", key
        assert row["linkage_source"], key
        assert "system" not in row, "the sheet of species says it"
        r = row["recombination"]
        assert r["status"] == "common practice", key
        assert 0 < r["low"] < r["value"] < r["high"] <= 0.5, key

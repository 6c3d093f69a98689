"""How sure parents are, and that nothing descends from itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalewitness.domain.parents import Chances, dams, in_loops, sires

TREES = st.dictionaries(st.integers(0, 9), st.lists(st.integers(0, 9), max_size=2), max_size=10)


def test_a_test_of_parents_leaves_no_doubt() -> None:
    assert sires("s", tested=True, earlier=["e"], beside=["b"]) == Chances({"s": 1.0}, ())
    assert dams("d", tested=True) == Chances({"d": 1.0}, ())


@given(st.sets(st.sampled_from("sabc")), st.sets(st.sampled_from("sabc")))
def test_chances_of_a_sire_sum_to_one(earlier: set[str], beside: set[str]) -> None:
    found = sires("s", tested=False, earlier=earlier, beside=beside)
    assert sum(found.of.values()) == pytest.approx(1)
    assert found.of["s"] > 0.7
    assert ("second_male" in found.doubts) == bool(beside - {"s"})
    assert ("kept_sperm" in found.doubts) == bool(earlier - beside - {"s"})


def test_whoever_is_not_named_is_unknown() -> None:
    assert sires(None, tested=False, earlier=["e"], beside=()).of == {None: 1.0}
    assert dams(None, tested=False).doubts == ("dam_unnamed",)


def test_a_loop_is_found_and_its_young_and_ancestors_are_not_in_it() -> None:
    assert in_loops({"a": ["b", "x"], "b": ["a"], "young": ["a"], "x": ["y"]}) == {"a", "b"}
    assert in_loops({"a": ["a"]}) == {"a"}
    assert in_loops({"a": ["b", "b"], "b": ["c", "d"], "d": ["c"]}) == set()


@given(TREES)
def test_without_those_in_loops_nothing_descends_from_itself(tree: dict[int, list[int]]) -> None:
    looped = in_loops(tree)
    left = {one: [] if one in looped else parents for one, parents in tree.items()}
    assert in_loops(left) == set()

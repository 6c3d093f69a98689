"""Which changes of the rules are drawn, and against which tests each is run."""

import pytest

from stack.mutating import reach
from stack.mutating.drawing import Mutant, _differs

SOURCE = """\
def rule(kind: str, name: str, found: object) -> bool:
    if kind == "edit":
        return True
    if found is None:
        return False
    return kind != name
"""
OPERATOR = "core/ReplaceComparisonOperator_"


@pytest.mark.parametrize(
    ("operator", "differs"),
    [
        ("Eq_Is", False),  # beside a text written out
        ("Eq_IsNot", True),
        ("Eq_LtE", True),
        ("Is_IsNot", True),  # beside None
        ("NotEq_IsNot", True),  # between two values
    ],
)
def test_what_is_no_other_program_is_passed_over(operator: str, differs: bool) -> None:
    assert _differs(Mutant("rule.py", f"{OPERATOR}{operator}", 0, 2), SOURCE) == differs


def test_a_line_is_known_by_its_function_and_its_place_in_it() -> None:
    names = reach.Names(SOURCE)
    assert [names.at(line) for line in (1, 2, 6)] == [("", 1), ("rule", 0), ("rule", 4)]


REACH: reach.Reach = {
    "rule.py": {
        "rule": {
            "0": ["a.py::one", "a.py::two", "b.py::three", "tests/domain/c.py::pure"],
            "1": ["b.py::three"],
            "4": ["a.py::one", "a.py::two"],
        },
        "other": {"0": ["d.py::far"]},
    }
}


def test_tests_of_the_very_line_come_first_and_those_of_values_before_all() -> None:
    def found(name: str, line: int, most: int) -> list[str]:
        return reach.tests_for(REACH, "rule.py", (name, line), most)

    assert found("rule", 1, 2) == ["tests/domain/c.py::pure", "b.py::three", "a.py::one"]
    assert found("rule", 4, 4)[1:3] == ["a.py::one", "a.py::two"]
    assert found("rule", 0, 2)[1] == "b.py::three", "it goes where no other does"
    assert set(found("nowhere", 0, 9)) == {*found("rule", 0, 9), "d.py::far"}


def test_a_file_of_tests_mapped_anew_takes_the_place_of_what_was_known() -> None:
    new: reach.Reach = {"rule.py": {"rule": {"2": ["a.py::one"]}}}
    assert reach.joined(REACH, new)["rule.py"]["rule"] == {
        "0": ["b.py::three", "tests/domain/c.py::pure"],
        "1": ["b.py::three"],
        "2": ["a.py::one"],
        "4": [],
    }
    assert reach.joined({}, REACH) == REACH

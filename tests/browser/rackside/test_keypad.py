"""The phone's own keys for numbers: what each makes of what is typed."""

from typing import Any

import pytest

DEPTH = {"step": 0.5, "most": 30}
GRAMS = {"step": 0.1, "most": 99999}
COUNT = {"step": 1, "most": 96}


@pytest.mark.parametrize(
    ("of", "keys", "typed"),
    [
        (DEPTH, "9 half", "9.5"),
        (DEPTH, "9 half half", "9"),
        (DEPTH, "half", "0.5"),
        (DEPTH, "9 half back", "9"),
        (DEPTH, "9 back", ""),
        (DEPTH, "back", ""),
        (DEPTH, "0", "0"),
        (DEPTH, "0 9", "9"),
        (DEPTH, "9 9", "9"),
        (DEPTH, "1 1", "11"),
        (DEPTH, "3 0 half", "30"),
        (DEPTH, "9 half 2", "9.5"),
        (GRAMS, "4 2 0 point 5", "420.5"),
        (GRAMS, "3 5 point 5 5", "35.5"),
        (GRAMS, "point 5", "0.5"),
        (GRAMS, "3 5 point point", "35."),
        (GRAMS, "3 5 point back", "35"),
        (GRAMS, "1 2 3 4 5 6", "12345"),
        (COUNT, "1 2", "12"),
        (COUNT, "1 2 3", "12"),
    ],
)
def test_what_is_no_such_number_cannot_be_typed(
    modules: Any, of: dict[str, float], keys: str, typed: str
) -> None:
    script = "given.keys.reduce((text, key) => m.pressed(text, key, given.of), '')"
    assert modules("keys", script, {"of": of, "keys": keys.split()}) == typed

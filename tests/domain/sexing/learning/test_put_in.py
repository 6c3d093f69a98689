"""Numbers learned from settled animals, put in their place."""

from decimal import Decimal

from scalewitness.domain.sexing.learning import LearnedNumber, learn, with_learned
from scalewitness.domain.sexing.parameters import load_parameters

THIRD = load_parameters("sexing-3")
CLENCH = LearnedNumber(
    "mislead.probing.male", Decimal("0.0213"), Decimal("0.014"), Decimal("0.031"), 400, 380, 90, 31
)


def test_a_learned_number_takes_its_place_with_where_it_comes_from():
    found = with_learned(THIRD, [CLENCH], "numbers-17")
    assert (found.version, found.learned) == ("sexing-3", "numbers-17")
    assert found.base.value("mislead.probing.male") == 0.0213
    assert found.pessimistic.value("mislead.probing.male") == 0.031, "the worse end"
    assert found.base.numbers["mislead.probing.male"].status == "learned here"
    assert "400 males and 380 females" in found.base.numbers["mislead.probing.male"].source
    assert found.base.value("mislead.probing.female") == 0.002, "all else as it was"
    assert with_learned(THIRD, [CLENCH], "numbers-17") is found


def test_nothing_learned_changes_nothing():
    assert learn([], THIRD) == ()
    assert with_learned(THIRD, ()) is THIRD

"""Mix-ups in words, and whose judgement their numbers are."""

import pytest
from tests.domain.sexing.builders import female, standing
from tests.domain.sexing.test_swaps import SECOND, _party, _settled, _shares, _swaps

from scalewitness.domain.sexing.swaps import (
    Swaps,
    in_words,
    number,
)
from scalewitness.domain.sexing.tables import table

NAMES = {f"l{n:02}": f"Animal {n}" for n in range(20)}


def test_what_is_as_likely_is_said_together():
    """Two labels whose later checks each found the other sex: one of them, or the other."""
    found = _swaps(_settled("l00", "male"), _settled("l01", "male"))
    told = in_words(found, NAMES)
    assert "in 100 each" not in told
    both = in_words(Swaps(found.explanations[:1] * 2, 0.0, 0.0, False, ()), NAMES)
    assert both.count("every animal is the one its label names") == 2
    assert "in 100 each: " in both


def test_it_is_said_in_words_and_is_no_verdict():
    group = _party(2)
    text = in_words(_swaps(*group), NAMES)
    assert text.startswith("Likeliest, with ")
    assert "the labels of these two animals were exchanged (" in text
    assert f"{NAMES[group[0].label]} is really {NAMES[group[1].label]}" in text
    assert text.endswith("reading the codes would settle it.")
    assert "not followed" not in text
    assert "hold at most" in in_words(_swaps(*_party(20)), NAMES)
    assert "hold at most" not in in_words(_swaps(*_party(8)), NAMES)


def test_the_labels_right_posterior_of_sex_is_the_standings():
    lone = _settled("a", "male", [female("cedar")])
    found = _shares(_swaps(lone))
    p = standing(*lone.before, *lone.after, parameters=SECOND).p_male
    assert found["missexed", ("a",), ()] == pytest.approx(1 - p)


def test_every_number_on_mix_ups_says_whose_judgement_it_is():
    for name, entry in table("swaps.toml").items():
        assert entry["status"] == "our judgement", name
        assert number(name) > 0

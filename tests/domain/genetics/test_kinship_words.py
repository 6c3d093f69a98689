"""Kinship in words: relations whose coefficient textbooks give."""

import pytest

from scalewitness.domain.genetics.kinship_words import CAUTION, NOT_KNOWN, kinship_in_words


@pytest.mark.parametrize(
    ("kinship", "words"),
    [
        (0.5, "closer than full siblings"),
        (0.25, "as close as full siblings"),
        (0.125, "as close as half siblings"),
        (0.0625, "as close as first cousins"),
        (1 / 64, "as close as second cousins"),
        (0.001, "related from far off"),
    ],
)
def test_the_nearest_relation_is_named(kinship: float, words: str) -> None:
    """Wright 1922: 1/4, 1/8, 1/16 and 1/64."""
    found = kinship_in_words(kinship)
    assert words in found[0]
    assert (CAUTION in found) == (kinship > 0.01)


def test_none_known_is_not_none() -> None:
    assert kinship_in_words(0) == [NOT_KNOWN]
    assert "5 generations" in kinship_in_words(0, 5)[1]

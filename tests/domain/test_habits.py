"""Days and weights in their reader's words."""

from datetime import UTC, date
from decimal import Decimal

import pytest

from scalewitness.domain.habits import (
    Habits,
    as_grams,
    day_in_short,
    day_in_words,
    month_in_words,
    weight_in_words,
    written_for,
)

DAY = date(2026, 6, 4)


@pytest.mark.parametrize(
    ("habits", "day", "short", "month", "weight"),
    [
        (Habits(), "4 June 2026", "4 Jun 2026", "Jun 2026", "612.5 g"),
        (
            Habits(UTC, "month_first", "ounces"),
            "June 4, 2026",
            "Jun 4, 2026",
            "Jun 2026",
            "21.61 oz",
        ),
        (Habits(UTC, "iso", ""), "2026-06-04", "2026-06-04", "2026-06", "612.5 g"),
    ],
)
def test_words_are_the_readers(
    habits: Habits, day: str, short: str, month: str, weight: str
) -> None:
    with written_for(habits):
        assert (day_in_words(DAY), weight_in_words("612.5")) == (day, weight)
        assert (day_in_short(DAY), month_in_words(DAY)) == (short, month)
    assert day_in_words(DAY) == "4 June 2026"


@pytest.mark.parametrize(
    ("grams", "ounces"), [("28.349523125", "1 oz"), ("100", "3.53 oz"), ("453.59237", "16 oz")]
)
def test_ounces_are_avoirdupois(grams: str, ounces: str) -> None:
    """NIST Handbook 44, appendix C: an ounce is 28.349523125 g, a pound 453.59237 g, exactly."""
    with written_for(Habits(weights="ounces")):
        assert weight_in_words(grams) == ounces


def test_what_is_typed_comes_back_as_typed() -> None:
    """A tenth of a gram is finer than a hundredth of an ounce."""
    with written_for(Habits(weights="ounces")):
        for hundredths in range(1, 2000):
            typed = Decimal(hundredths) / 100
            assert weight_in_words(as_grams(typed)) == f"{typed.normalize():f} oz"


def test_nothing_is_rounded_to_a_power_of_ten() -> None:
    assert [weight_in_words(one) for one in ("100", "1000.0", "0", 70.0)] == [
        "100 g",
        "1000 g",
        "0 g",
        "70 g",
    ]
    assert weight_in_words(9.5, 120.0) == "9.5 to 120 g"

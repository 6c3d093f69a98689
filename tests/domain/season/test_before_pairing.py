"""Cautions before a pairing: each with what it rests on, none of them a limit."""

from datetime import date
from decimal import Decimal
from typing import Any

from scalewitness.domain.season.before_pairing import BeforePairing, speaks_against
from scalewitness.domain.season.reproduction import breeding_figures

TODAY = date(2026, 11, 1)
GROWN: dict[str, Any] = {
    "hatched": date(2021, 8, 1),
    "grams": Decimal(1800),
    "weighed": date(2026, 10, 20),
    "last_young": None,
}


def texts(species: str, sex: Any = "female", **known: Any) -> list[tuple[str, str]]:
    found = speaks_against(
        BeforePairing(sex, **GROWN | known), breeding_figures(species), TODAY, 2027
    )
    return [(one.text, one.rests_on) for one in found]


def test_nothing_speaks_against_one_that_is_grown_and_rested() -> None:
    assert texts("python_regius") == []
    assert texts("python_regius", last_young=date(2024, 7, 1)) == []


def test_a_ball_python_is_light_below_1200_grams_by_common_practice() -> None:
    """1,200 g and 27 months of females: popular pages, common practice, no published figure."""
    (light,) = texts("python_regius", grams=Decimal(900))
    assert light[0] == "It last weighed 900 g; a female is bred from 1200 g on."
    assert light[1].startswith("common practice")
    (young,) = texts("python_regius", hatched=date(2025, 8, 1))
    assert "It is 15 months old; a female is bred from 27 months on." in young[0]
    assert texts("python_regius", "male", grams=Decimal(900)) == [], "males from 700 g on"


def test_what_is_not_on_record_is_said() -> None:
    found = [text for text, _ in texts("python_regius", hatched=None, grams=None, weighed=None)]
    assert found == ["Its age is not on record.", "No weight of it is noted."]
    (old,) = texts("python_regius", weighed=date(2026, 5, 1))
    assert "more than 60 days" in old[0]


def test_a_boa_rests_a_year_as_the_page_has_it_and_others_by_custom() -> None:
    (boa,) = texts("boa_imperator", last_young=date(2026, 6, 1))
    assert "take 2 seasons" in boa[0]
    assert "liquisearch.com" in boa[1]
    (python,) = texts("python_regius", last_young=date(2026, 6, 1))
    assert python[1] == "common practice, no source"
    assert texts("boa_imperator", "male", last_young=date(2026, 6, 1)) == []


def test_where_no_figure_could_be_read_it_says_so() -> None:
    (none,) = texts("simalia_amethistina")
    assert "not published where we could read it" in none[0]


def test_whose_keeper_asks_to_leave_it_alone_is_left_alone() -> None:
    assert texts("python_regius", held_off=True)[0][0].startswith("Its keeper asks")

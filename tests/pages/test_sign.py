"""The sign of a standing: how sure a label is, is told by shape and line and by no colour."""

import re

import pytest

from scalewitness.pages.plots.sign import FURTHEST, UNSEXED, Drawn, sign

VERIFIED = 0.99


def drawing(label: str, p_male: float, strictly: float, checked: bool = True) -> str:
    return str(sign(Drawn(label, p_male, strictly, checked), VERIFIED))


def mark_at(svg: str) -> float:
    found = re.search(r'class="mark" cx="([\d.]+)"', svg)
    assert found
    return float(found[1])


def test_no_two_kinds_of_standing_are_drawn_alike() -> None:
    drawn = [
        drawing("verified male", 0.95, 0.6),
        drawing("probable male", 0.95, 0.6),
        drawing("contested", 0.95, 0.6),
        drawing("unsexed", 0.95, 0.6),
        drawing("unsexed", 0.95, 0.6, checked=False),
    ]
    assert len(set(drawn)) == len(drawn)
    assert all(
        re.findall(r'(?:stroke|fill)="(?!none|currentColor)[^"]+"', one) == [] for one in drawn
    )


def test_what_nobody_checked_is_hollow_and_even() -> None:
    svg = str(sign(UNSEXED, VERIFIED))
    assert mark_at(svg) == 64
    assert 'class="seen"' not in svg
    assert 'class="reach"' not in svg


def test_equal_distances_multiply_the_odds_alike() -> None:
    at = {odds: mark_at(drawing("probable male", odds / (1 + odds), 0.5)) for odds in (1, 10, 100)}
    assert at[10] - at[1] == pytest.approx(at[100] - at[10], abs=0.02)
    mirrored = mark_at(drawing("probable female", 1 / 11, 0.5))
    assert at[1] - mirrored == pytest.approx(at[10] - at[1], abs=0.02)


def test_verified_begins_where_the_rule_says() -> None:
    svg = drawing("verified male", VERIFIED, 0.95)
    found = re.search(r'class="needed"[^>]*d="M([\d.]+) [^M]*M([\d.]+) ', svg)
    assert found
    assert float(found[2]) == mark_at(svg)


@pytest.mark.parametrize("certain", [0.0, 1.0])
def test_what_is_certain_stays_on_the_drawing(certain: float) -> None:
    assert FURTHEST > 0
    assert 0 < mark_at(drawing("verified", certain, certain)) < 128


def test_who_does_not_see_it_hears_both_readings_unless_they_stand_beside_it() -> None:
    drawn = Drawn("probable male", 0.951, 0.82)
    assert "Chance of male 95.1%; trusting every call less, 82.0%" in sign(drawn, VERIFIED)
    assert 'aria-hidden="true"' in sign(drawn, VERIFIED, alone=False)

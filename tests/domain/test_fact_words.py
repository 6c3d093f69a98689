"""Every kind of fact has its sentence."""

import pytest

from scalewitness.domain.fact_words import in_words
from scalewitness.domain.facts import BODIES


@pytest.mark.parametrize("kind", BODIES)
def test_every_kind_has_words(kind: str) -> None:
    said = in_words(kind, {})
    assert said.endswith(".")
    assert "does not know" not in said


def test_a_check_says_method_conclusion_and_who_reports() -> None:
    body = {"conclusion": "male", "observed": {"method": "probing"}}
    assert in_words("call_made", body) == "A call by probing; the conclusion: male."
    told = in_words("call_made", body | {"reported": {"role": "earlier_keeper"}})
    assert told.endswith(
        "Who made it: earlier keeper; it is its sender's word until that is confirmed."
    )


def test_a_kind_of_a_later_version_is_named() -> None:
    assert "“moult_seen”" in in_words("moult_seen", {})


def test_a_time_put_right_is_told_with_any_fact_and_one_that_cannot_be_read_is_not() -> None:
    corrected = {
        "read": "2026-11-27T12:00:00.000Z",
        "offset": "172800",
        "measured_at": "2026-11-29T12:00:00.000Z",
    }
    told = in_words("husbandry_noted", {"corrected": corrected})
    assert "27 November 2026, 12:00 UTC" in told
    assert "2 days behind" in told
    plain = in_words("husbandry_noted", {})
    for wrong in ({}, "yesterday", corrected | {"read": "2026-02-31T12:00:00.000Z"}):
        assert in_words("husbandry_noted", {"corrected": wrong}) == plain

"""What is known of this machine's clock, from what the server's said beside it."""

import pytest

from scalewitness_cli.clock import (
    RIGHT,
    Compared,
    Reading,
    Verdict,
    correction,
    in_words,
    judged,
    time_by,
)

DAY = 86_400.0
NOON = 1_795_953_600.0  # 2026-11-29 12:00 UTC
BEHIND = 2 * DAY


def reading(at: float, off: float = 0.0, boot: str | None = "one") -> Reading:
    """This machine's clock at the true time ``at``, ahead by ``off``."""
    return Reading(at + off, boot, None if boot is None else at - NOON + 500)


def compared(at: float, off: float = 0.0, boot: str | None = "one") -> Compared:
    """The server cuts its time to the second."""
    return Compared(at - 0.5, reading(at, off, boot))


def test_a_clock_that_was_never_compared_or_is_hardly_off_is_right() -> None:
    assert judged(reading(NOON), None) == RIGHT
    assert judged(reading(NOON, 200), compared(NOON - 60, 200)) == RIGHT


@pytest.mark.parametrize("off", [-BEHIND, BEHIND, 12 * 3600.0, 301.0])
def test_a_steady_clock_is_off_by_what_was_measured_before_or_after(off: float) -> None:
    found = Verdict("off", round(-off), NOON - 0.5)
    assert judged(reading(NOON + 3600, off), compared(NOON, off)) == found
    assert judged(reading(NOON - 3600, off), None, compared(NOON, off)) == found


def test_a_clock_set_between_a_check_and_the_contact_is_not_known() -> None:
    """The network put it right as soon as there was a signal."""
    found = judged(reading(NOON, -BEHIND), None, compared(NOON + 3600))
    assert found.state == "unknown"
    assert found.about == pytest.approx(NOON, abs=1)
    assert "was set since" in in_words(found)
    assert "29 November 2026, 11:59 UTC" in in_words(found)


def test_what_was_measured_before_the_check_holds_though_the_clock_was_set_after_it() -> None:
    found = judged(reading(NOON, -BEHIND), compared(NOON - 60, -BEHIND), compared(NOON + 60))
    assert (found.state, found.offset) == ("off", round(BEHIND))


def test_over_a_start_a_clock_is_known_by_two_measures_that_agree() -> None:
    check = reading(NOON, -BEHIND, "two")
    before, after = compared(NOON - DAY, -BEHIND, "one"), compared(NOON + 60, -BEHIND, "three")
    assert judged(check, before, after).offset == round(BEHIND)
    assert judged(check, compared(NOON - DAY, 0, "one"), after).state == "unknown"
    assert judged(check, None, after).state == "unknown"
    assert judged(check, before).state == "unknown"


@pytest.mark.parametrize("boot", ["two", None])
def test_a_right_clock_stays_right_over_a_start_and_where_none_is_told(boot: str | None) -> None:
    check = reading(NOON, 0, boot)
    assert judged(check, compared(NOON - DAY), compared(NOON + 60, 1, "three")) == RIGHT
    assert judged(check, None, compared(NOON + 60, 0, None)) == RIGHT


def test_a_clock_that_says_a_time_before_the_last_contact_is_not_right() -> None:
    assert judged(reading(NOON, -BEHIND, "two"), compared(NOON - 60)).state == "unknown"


def test_the_time_is_told_by_the_server_however_the_clock_was_set() -> None:
    last = compared(NOON, -BEHIND)
    for off in (-BEHIND, 0.0, BEHIND):
        by = time_by(reading(NOON + 3600, off), last).timestamp()
        assert by == pytest.approx(NOON + 3600, abs=1)
    assert time_by(reading(NOON + 60, -BEHIND, "two"), last).timestamp() == pytest.approx(
        NOON + 60, abs=1
    )
    assert time_by(reading(NOON, -9 * DAY, "two"), last).timestamp() >= NOON - 1


def test_a_correction_says_what_was_read_the_offset_and_when_it_was_measured() -> None:
    found = Verdict("off", -172_800, NOON)
    assert correction("2026-12-01T12:00:00.000Z", found) == {
        "read": "2026-12-01T12:00:00.000Z",
        "offset": "-172800",
        "measured_at": "2026-11-29T12:00:00.000Z",
    }
    assert "2 days ahead" in in_words(found)

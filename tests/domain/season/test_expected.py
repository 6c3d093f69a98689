"""What comes next of a pairing, by what was noted of it."""

from datetime import date, timedelta
from typing import Any

import pytest

from scalewitness.domain.season.events import Event
from scalewitness.domain.season.expected import Noted, expected, happenings, oddities
from scalewitness.domain.season.reproduction import UNKNOWN, breeding_figures

BALL, CORN, BOA = (
    breeding_figures(one) for one in ("python_regius", "pantherophis_guttatus", "boa_imperator")
)


def noted(what: Event, on: str, by: str = "odile", **counted: Any) -> Noted:
    return Noted(f"{by} {what} {on}", what, date.fromisoformat(on), by, counted)


def windows(figures: Any, *notes: Noted) -> dict[tuple[str, int], tuple[str, str]]:
    found = expected(figures, happenings(notes))
    return {(one.what, one.clutch): (str(one.first), str(one.last)) for one in found}


def test_from_the_shed_on_a_window_and_not_a_date() -> None:
    # 28 to 50 days and 55 to 65 days: reproduction.toml, from pages that contradict one another
    assert windows(BALL, noted("shed_before_laying", "2027-03-01")) == {
        ("laid", 1): ("2027-03-29", "2027-04-20"),
        ("hatched", 1): ("2027-05-23", "2027-06-24"),
    }


def test_what_is_nearest_to_it_counts() -> None:
    early = noted("seen_together", "2027-01-01")
    assert windows(BALL, early)["laid", 1] == ("2027-04-11", "2027-04-21")
    assert windows(BALL, early, noted("ovulation", "2027-02-10")) == {
        ("shed_before_laying", 1): ("2027-02-24", "2027-03-04"),
        ("laid", 1): ("2027-03-24", "2027-04-23"),
        ("hatched", 1): ("2027-05-18", "2027-06-27"),
    }


def test_a_live_bearer_is_expected_to_bear() -> None:
    assert windows(BOA, noted("ovulation", "2027-02-01"))["born", 1] == ("2027-05-12", "2027-07-01")
    found = windows(BOA, noted("shed_before_laying", "2027-02-20"))
    assert found == {("born", 1): ("2027-05-31", "2027-06-20")}
    assert windows(BOA, noted("ovulation", "2027-02-01"), noted("born", "2027-06-01")) == {}


def test_over_a_leap_day_and_the_turn_of_a_year() -> None:
    corn = windows(CORN, noted("shed_before_laying", "2028-02-20"))
    assert corn["laid", 1] == ("2028-02-27", "2028-03-05")
    assert windows(CORN, noted("laid", "2027-12-01"))["hatched", 1] == ("2028-01-25", "2028-02-04")


def test_of_an_unknown_species_or_by_putting_together_alone_no_date_is_made_up() -> None:
    assert windows(UNKNOWN, noted("laid", "2027-03-01")) == {}
    assert windows(BALL, noted("put_together", "2027-03-01"), noted("apart", "2027-03-05")) == {}


def test_two_keepers_note_one_laying_and_it_is_one() -> None:
    seen = happenings(
        [
            noted("laid", "2027-04-02", "pim", good=7),
            noted("laid", "2027-04-01", good=6),
            noted("laid", "2027-05-20", good=3),
        ]
    )
    assert [(one.what, str(one.on), len(one.notes)) for one in seen] == [
        ("laid", "2027-04-01", 2),
        ("laid", "2027-05-20", 1),
    ]
    assert seen[0].counted == {"good": 6}
    assert [one.agrees for one in seen] == [False, True]
    assert len(oddities(seen)) == 1


@pytest.mark.parametrize("order", [1, -1])
def test_the_order_in_which_notes_came_does_not_matter(order: int) -> None:
    notes = [
        noted("seen_together", "2027-01-03"),
        noted("ovulation", "2027-02-10"),
        noted("laid", "2027-04-01"),
    ][::order]
    assert windows(BALL, *notes) == {("hatched", 1): ("2027-05-26", "2027-06-05")}


def test_a_second_clutch_is_expected_beside_the_first_in_the_incubator() -> None:
    first = noted("laid", "2027-03-01", good=12)
    again = noted("shed_before_laying", "2027-05-01")
    found = windows(CORN, first, again)
    assert found["hatched", 1] == ("2027-04-25", "2027-05-05")
    assert found["laid", 2] == ("2027-05-08", "2027-05-15")
    hatched = noted("hatched", "2027-04-28", young=10, dead_in_shell=1)
    second = noted("laid", "2027-05-10", good=5)
    assert windows(CORN, first, again, hatched, second) == {
        ("hatched", 2): ("2027-07-04", "2027-07-14")
    }


def test_of_slugs_alone_nothing_hatches() -> None:
    assert windows(BALL, noted("laid", "2027-03-01", good=0, slugs=5)) == {}


def test_withdrawing_a_note_leads_back_to_before_it() -> None:
    kept = [noted("ovulation", "2027-02-10")]
    before = windows(BALL, *kept)
    wrong = noted("shed_before_laying", "2027-02-11")
    assert windows(BALL, *kept, wrong) != before
    assert windows(BALL, *kept) == before


@pytest.mark.parametrize(
    ("notes", "word"),
    [
        ([noted("put_together", "2027-03-01"), noted("laid", "2027-02-01")], "before they were"),
        ([noted("laid", "2027-03-01"), noted("hatched", "2027-02-01")], "before the laying"),
        ([noted("laid", "2027-03-01", good=4), noted("hatched", "2027-05-01", young=5)], "More"),
    ],
)
def test_a_wrong_day_or_count_is_remarked_on_and_not_refused(notes: list[Noted], word: str) -> None:
    (found,) = oddities(happenings(notes))
    assert word in found


def test_a_proper_season_has_nothing_odd() -> None:
    notes = [
        noted("put_together", "2027-01-01"),
        noted("laid", "2027-03-01", good=6),
        noted("laid", "2027-03-01", "pim"),
        noted("hatched", "2027-05-01", young=5, dead_in_shell=1),
    ]
    assert oddities(happenings(notes)) == []


def test_windows_move_with_their_days() -> None:
    """Nothing depends on which year, month or weekday it is."""
    spans = set()
    for days in range(0, 1500, 37):
        on = str(date(2027, 1, 1) + timedelta(days=days))
        (laid, hatched) = expected(BALL, happenings([noted("shed_before_laying", on)]))
        spans.add((laid.first - laid.after.on, hatched.last - laid.after.on))
    assert spans == {(timedelta(days=28), timedelta(days=115))}

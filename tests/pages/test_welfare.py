"""What speaks against a check today, as a table. Thresholds are common practice or our
judgement, as stated where they are defined."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from scalewitness.animals.queries import LastNoted
from scalewitness.domain.cautions import HOLD_OFF, reasons_to_wait

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
FIT = LastNoted(
    grams=Decimal("900"),
    weighed_at=NOW - timedelta(days=3),
    fed_at=NOW - timedelta(hours=73),
    shed="shed",
    health="well",
)


def said(condition: LastNoted, *, hold_off: bool = False, steward: bool = True) -> str:
    return " ".join(reasons_to_wait(condition, hold_off=hold_off, now=NOW, steward=steward))


def but(**changed: object) -> LastNoted:
    names = ("grams", "weighed_at", "fed_at", "shed", "health")
    return LastNoted(**{name: changed.get(name, getattr(FIT, name)) for name in names})


def test_nothing_is_said_of_an_animal_fit_for_it() -> None:
    assert said(FIT) == ""


@pytest.mark.parametrize(
    ("condition", "word"),
    [
        (but(fed_at=NOW - timedelta(hours=71)), "72 hours"),
        (but(shed="opaque"), "opaque"),
        (but(grams=None, weighed_at=None), "No weight"),
        (but(weighed_at=NOW - timedelta(days=61)), "60 days"),
        (but(grams=Decimal("99.5")), "small (99.5 g)"),
        (but(health="gravid"), "gravid"),
        (but(health="ill"), "ill"),
        (but(health="under_treatment"), "treatment"),
    ],
)
def test_each_reason_to_wait_is_said(condition: LastNoted, word: str) -> None:
    assert word in said(condition)


@pytest.mark.parametrize("health", ["gravid", "ill", "injured", "under_treatment"])
def test_a_guest_hears_one_and_the_same_of_whatever_holds_an_animal_off(health: str) -> None:
    """Gravid is female; a notice for one health sign only would tell as much by silence."""
    assert said(but(health=health), steward=False) == HOLD_OFF


@pytest.mark.parametrize("health", [None, "well", "other"])
def test_and_nothing_of_what_does_not(health: str | None) -> None:
    assert said(but(health=health), steward=False) == ""


def test_the_keepers_notice_comes_first() -> None:
    hungry = but(fed_at=NOW)
    assert said(hungry, hold_off=True, steward=False).startswith("The keeper asks everyone")

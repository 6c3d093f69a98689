"""Limits, and which kinds of fact a rule is for, as they were chosen."""

from datetime import timedelta

from scalewitness.intake.rules.late import LATE_LIMIT
from scalewitness.intake.rules.photos import MOST_OF_A_CALL, MOST_OF_AN_ANIMAL
from scalewitness.letters.accounts import MOST_AN_HOUR
from scalewitness.letters.chasing import REMIND_AFTER, SILENT_AFTER
from scalewitness.letters.new_rule import LEAVES_AFTER
from scalewitness.letters.reports import ASK_AGAIN, LASTS
from scalewitness.letters.sales import TO_BUYER, TO_SELLER
from scalewitness.receipts.by_link import FOR_DISCLOSURES


def test_how_long_and_how_many() -> None:
    hours = {
        "a call is late": LATE_LIMIT,
        "a buyer is reminded": REMIND_AFTER,
        "a seller hears that nobody answered": SILENT_AFTER,
        "letters of a new rule leave": LEAVES_AFTER,
        "a practice is asked again": ASK_AGAIN,
        "its link lasts": LASTS,
    }
    assert {name: one / timedelta(hours=1) for name, one in hours.items()} == {
        "a call is late": 14 * 24,
        "a buyer is reminded": 14 * 24,
        "a seller hears that nobody answered": 28 * 24,
        "letters of a new rule leave": 1,
        "a practice is asked again": 24,
        "its link lasts": 60 * 24,
    }
    assert (MOST_OF_A_CALL, MOST_OF_AN_ANIMAL, MOST_AN_HOUR) == (6, 100, 5)


def test_who_hears_of_which_step() -> None:
    assert set(TO_SELLER) == {"sale_confirmed", "check_requested", "offer_declined"}
    assert set(TO_BUYER) == {"offer_withdrawn", "payment_recorded", "handed_over"}
    assert set(FOR_DISCLOSURES) == {"disclosure_owed", "disclosure_acknowledged"}

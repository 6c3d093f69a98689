"""What the record has learned, as a keeper reads it."""

import pytest
from tests.learned import LITTLE, MISLEADS, publish, put_in_force
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.intake.numbers import adopt_numbers
from scalewitness.planning.supposing import SupposedAnswer, suppose
from scalewitness.sales.models import Sale
from scalewitness.standings.queries.logged import latest_standing

pytestmark = pytest.mark.one_in(6)


def test_before_anything_was_learned_it_says_so(here: Here, stan: Browser) -> None:
    page = stan.open("/learned")
    assert page.status == 200
    assert "Nothing that was learned is in force yet" in page.text
    assert "it takes more animals that confirmed proof settled" in page.text
    assert "/learned" in stan.open("/about").links


def test_it_says_what_was_learned_from_how_many_and_how_it_changed(
    here: Here, stan: Browser
) -> None:
    put_in_force(here, LITTLE)
    put_in_force(here, {MISLEADS: "0.011000"})
    publish(here, {MISLEADS: "0.013000", f"depth_bias.{here.greta.pk}": "0.5"})
    page = stan.open("/learned")
    assert "sexing-3.2" in page.text
    assert "Probing: females that look male to whoever examines them 1.1 in 100" in page.text
    assert "46 males and 51 females in the collections of 6 keepers, checked by 9" in page.text
    assert "1.1 in 100 95 in 100 sure: 1.1 to 1.1" in page.text
    assert "0.95 in 100 0.2 in 100" in page.text, "before that, and as it was published"
    assert "1.3 in 100" in page.text, "last night"
    assert "1 more is not listed here" in page.text
    assert str(here.greta.pk) not in page.text


def test_an_offer_drafted_after_numbers_changed_shows_them(here: Here, odile: Browser) -> None:
    animal = here.verified("V1")
    publish(here, LITTLE)
    adopt_numbers(here.now)
    here.now_is_now()
    drafting = odile.open(f"/collections/{here.collection.pk}/sales/new?animal={animal.pk}").form()
    odile.send(drafting, buyer_name="Bela Novak", buyer_email="bela@buyers.example")
    sale = Sale.objects.get()
    offering = odile.open(f"/sales/{sale.pk}/offer")
    assert "verified male" in offering.text
    standing = latest_standing(animal.pk)
    assert standing is not None
    assert standing.parameters == "sexing-3.1"
    odile.send(offering.form(), recheck_days="14", remedy="refund")
    assert sale.steps.filter(kind="offer_made").count() == 1, "at the first go"
    page = odile.open(f"/animals/{animal.pk}")
    assert "Numbers that this record learned since then make it a little less certain" in page.text
    assert "The label could then also be: probable male." in page.text
    assert "learned here: 46 males and 51 females settled in 6 collections" in page.text


def test_what_a_check_would_do_is_told_of_the_sex_as_it_is_kept(here: Here, odile: Browser) -> None:
    """By the numbers in force alone it would be said to be only probable before and after."""
    animal = here.verified("V1")
    publish(here, LITTLE)
    adopt_numbers(here.now)
    here.now_is_now()
    said = suppose(animal, SupposedAnswer("probing", "male", mine=True), here.odile.pk, here.now)
    assert said.text.startswith("The label would stay verified male.")
    against = suppose(animal, SupposedAnswer("probing", "female"), here.odile.pk, here.now)
    assert against.text.startswith("The label would change from verified male to contested.")


def test_every_kind_of_number_that_is_learned_is_read_in_words(here: Here, stan: Browser) -> None:
    publish(
        here,
        {
            "error.keeper.probing.male": "0.0623",
            "mislead.eversion.male": "0.0810",
            "mislead.statement.male": "0.3700",
            "depth.python_regius.male.middle": "9.1000",
            "depth.python_regius.female.spread": "0.9200",
            "error_by_stage.eversion.adult": "1.4000",
            "error_by_probe.fine.male": "1.2000",
            "blind.followed": "0.1270",
            "followed": "0.0800",
        },
    )
    text = stan.open("/learned").text
    for line in (
        "Probing by keepers: males taken for females 6.23 in 100",
        "Bringing out the male organs: males that look female to whoever examines them 8.1 in 100",
        "Hearsay: males passed on as females 37 in 100",
        "Ball python, males: how deep most probe 9.1 scales",
        "Ball python, females: how far their depths lie apart 0.92 scales",
        "Bringing out the male organs, adults: mistakes, against the usual number 1.4",
        "Probing with a fine probe for the weight, males: mistakes, against the usual number 1.2",
        "Checks said to be blind, after somebody else’s: those that repeat its answer all the same"
        " 12.7 in 100",
        "Checks by people who knew an answer: animals of which all of them repeated it 8 in 100",
    ):
        assert line in text
    assert "not listed here" not in text

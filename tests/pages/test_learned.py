"""What the record has learned, as a keeper reads it."""

from tests.learned import LITTLE, MISLEADS, publish, put_in_force
from tests.pages.browser import Browser
from tests.pages.conftest import Here


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
    assert "1.25 in 100 0.2 in 100" in page.text, "before that, and as it was published"
    assert "1.3 in 100" in page.text, "last night"
    assert "1 more is not listed here" in page.text
    assert str(here.greta.pk) not in page.text

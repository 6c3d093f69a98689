"""A payment that was recorded by mistake, or paid back, as both sides read it."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.sales.models import Sale
from scalewitness.sales.queries import progress_of


@pytest.fixture
def paid(here: Here) -> Sale:
    animal = here.verified("R-41")
    sale = here.sold(animal)
    here.now_is_now()
    return sale


def test_the_seller_asks_the_buyer_denies_and_agrees_in_the_end(
    paid: Sale, here: Here, odile: Browser, anyone: Browser
) -> None:
    page = f"/sales/{paid.pk}"
    empty = odile.send(odile.open(page).form("/release"))
    assert empty.status == 422
    assert "Nothing was recorded." in empty.text
    sent = odile.fill(page, "/release", why="recorded_by_mistake")
    assert sent.status == 302, sent.text
    assert "has not answered yet, so the animals stay promised to them" in odile.open(page).text
    link = f"/offers/{here.token(paid, 'disclosure')}"
    read = anyone.open(link).text
    assert "your silence changes nothing" in read
    assert "If you have paid, deny it" in read
    yes, no = (one for one in anyone.open(link).forms if one.action.endswith("/release"))
    assert anyone.send(no).status == 302
    assert "the buyer denies that" in odile.open(page).text
    (left,) = (one for one in anyone.open(link).forms if one.action.endswith("/release"))
    assert left.values["answer"] == ["agreed"]
    again = anyone.send(no)
    assert (again.status, "Your answer was not recorded" in again.text) == (302, False), "the same"
    assert anyone.send(yes).status == 302
    over = anyone.open(link)
    assert "This sale is over" in over.text
    assert not [one for one in over.forms if one.action.endswith("/release")]
    assert "you will be told again" not in over.text
    read = odile.open(page).text
    assert "Ended: the buyer released what was paid for" in read
    assert "Make a new offer" not in read
    assert progress_of(Sale.objects.get(pk=paid.pk)).state == "released"

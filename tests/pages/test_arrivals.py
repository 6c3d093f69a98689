"""Is it the same snake? By the buyer's link, and signed in; and who reads the answer."""

from uuid import UUID

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once

from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.ledger.models import Entry
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(6)

CHIP = "276098100000001"


@told_once
def bought(here: Here) -> Sale:
    """Of Barnaby, with a transponder and a photo, handed over."""
    animal = here.verified("R1")
    here.name(animal, "Vesper")
    here.say(here.odile, "identifier_assigned", animal.pk, {"scheme": "transponder", "code": CHIP})
    photo = here.say(here.odile, "photo_attached", animal.pk, body_of(plain_file()))
    take_photo_file(UUID(photo.id or ""), plain_file(), Actor(keeper=here.odile.pk), here.now)
    sale = here.sold(animal, email=here.stan.email)
    here.say(here.odile, "handed_over", sale.pk)
    here.now_is_now()
    return sale


@pytest.fixture
def arrival(here: Here, bought: Sale) -> str:
    token = here.token(bought, "disclosure")
    return f"/offers/{token}/animals/{bought.animals.get().pk}/arrival"


def test_what_was_typed_is_compared_and_said_plainly(
    anyone: Browser, bought: Sale, arrival: str
) -> None:
    page = anyone.open(arrival)
    assert CHIP in page.text
    entries = Entry.objects.count()
    for read, answer, said in (
        ("2760981", "same", "Nothing was recorded: a transponder code has 15 digits, not 7"),
        ("276.098.100.000.002", "same", f"the record says {CHIP}. So it is another snake"),
        (CHIP, "", "This field is required"),
    ):
        refused = anyone.fill(arrival, "", read=read, answer=answer)
        assert (refused.status, said in refused.text) == (422, True), refused.text
    assert Entry.objects.count() == entries
    done = anyone.fill(arrival, "", read="276 098 100 000 001", answer="same")
    assert done.goes_to == arrival
    shown = anyone.open(arrival)
    assert f"the transponder they read, {CHIP}, is the one on record" in shown.text
    assert "What to do next" not in shown.text


def test_another_snake_tells_the_buyer_what_to_do_and_the_seller_what_was_said(
    here: Here, anyone: Browser, odile: Browser, bought: Sale, arrival: str
) -> None:
    anyone.fill(arrival, "", answer="another")
    shown = anyone.open(arrival)
    for word in ("What to do next", here.odile.email, "The agreed time to recheck ended"):
        assert word in shown.text
    problem = arrival.replace("/arrival", "/problem")
    assert problem in {link.partition("#")[0] for link in shown.links}
    said = "nother snake arrived, by its buyer’s word; they compared a photo"
    assert said in odile.open(f"/sales/{bought.pk}").text
    assert "Another snake arrived, says" in odile.open("/").text
    assert said in anyone.open(problem).text
    anyone.fill(problem, "", note="The saddles are others.")
    page = odile.open(f"/disputes/{bought.disputes.get().pk}")
    assert said in page.text
    anyone.fill(arrival, "", answer="same")
    assert "Another snake arrived, says" not in odile.open("/").text
    assert said in anyone.open(arrival).text, "what was answered before stays"
    assert said in odile.open(f"/disputes/{bought.disputes.get().pk}").text


def test_a_seller_reads_which_of_their_own_snakes_bears_the_number(
    here: Here, anyone: Browser, odile: Browser, bought: Sale, arrival: str
) -> None:
    """And the buyer does not: what else somebody keeps is not for them."""
    other = here.animal("R2")
    code = {"scheme": "transponder", "code": "276098100000002"}
    here.say(here.odile, "identifier_assigned", other.pk, code)
    anyone.fill(arrival, "", read=code["code"], answer="another")
    sale = odile.open(f"/sales/{bought.pk}")
    assert "on another record of this collection" in sale.text
    assert f"/animals/{other.pk}" in sale.links
    assert "R2" not in anyone.open(arrival).text


def test_a_buyer_with_an_account_is_asked_today(
    here: Here, stan: Browser, odile: Browser, bought: Sale
) -> None:
    path = f"/sales/{bought.pk}/animals/{bought.animals.get().pk}/arrival"
    assert path in stan.open("/").links
    stan.fill(path, "", answer="cannot_tell")
    assert path not in stan.open("/").links
    assert "cannot tell" in stan.open(path).text
    assert odile.open(path).status == 404
    assert bought.steps.get(kind="arrival_compared").by == here.stan.pk

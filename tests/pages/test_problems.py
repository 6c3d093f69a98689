"""A buyer reports a problem, changes their address, turns reminders off: by their link alone."""

from uuid import UUID

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pages.test_disclosures_and_disputes import fallen as fallen
from tests.plugins.told_once import told_once

from scalewitness.disputes.models import Dispute
from scalewitness.ledger.models import Text
from scalewitness.mail.models import Letter
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import Sale

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]


@told_once
def bought(here: Here) -> Sale:
    animal = here.verified("R-30")
    here.name(animal, "Sorrel")
    sale = here.sold(animal)
    here.now_is_now()
    return sale


def test_a_buyer_reports_a_problem_and_the_seller_hears_at_once(
    here: Here, anyone: Browser, odile: Browser, bought: Sale
) -> None:
    token, animal = here.token(bought, "disclosure"), bought.animals.get()
    path = f"/offers/{token}/animals/{animal.pk}/problem"
    assert path in anyone.open(f"/offers/{token}").html
    told = anyone.fill(path, "", note="It laid eggs on Sunday.")
    assert told.goes_to == path
    dispute = Dispute.objects.get()
    assert (dispute.sale_id, dispute.ground) == (bought.pk, "party_objects")
    assert Text.objects.filter(text="It laid eggs on Sunday.").exists()
    assert Letter.objects.filter(kind="dispute_opened", recipient=here.odile.pk).exists()
    again = anyone.open(path)
    assert "open since" in again.text
    anyone.fill(path, "", statement="And I have photos of them.")
    odile.fill(f"/disputes/{dispute.pk}", "/statement", statement="Two keepers saw a male.")
    page = anyone.open(path)
    for words in ("You", "And I have photos of them.", "The seller", "Two keepers saw a male."):
        assert words in page.text
    shown = odile.open(f"/disputes/{dispute.pk}")
    for said in ("It laid eggs on Sunday.", "The buyer", "And I have photos", "The seller",
                 "Two keepers saw a male."):  # fmt: skip
        assert said in shown.text, said
    heard = Letter.objects.filter(kind="statement_made").values_list("to", flat=True)
    assert list(heard) == [here.odile.email], "of the buyer's; her own she knows"
    assert f"/visits/new?animal={animal.pk}" in shown.html


def test_the_link_in_the_letter_of_payment_lasts_and_shows_what_was_bought(
    here: Here, anyone: Browser, bought: Sale
) -> None:
    letter = Letter.objects.get(kind="payment_recorded")
    token = link_token(UUID(letter.context["link"]))
    page = anyone.open(f"/offers/{token}")
    for said in (
        "What you bought",
        "Sorrel",
        "You were told: verified male",
        "The record says now: verified male",
        "Nothing that you were told has changed",
    ):
        assert said in page.text, said


def test_before_it_is_paid_there_is_nothing_to_report(here: Here, anyone: Browser) -> None:
    animal = here.verified("R-31")
    sale = here.draft(animal)
    here.offer(sale)
    here.now_is_now()
    path = f"/offers/{here.token(sale)}/animals/{animal.pk}/problem"
    assert anyone.open(path).status == 404


def test_of_another_animal_nothing_can_be_reported(
    here: Here, anyone: Browser, bought: Sale
) -> None:
    other = here.animal("N-9")
    path = f"/offers/{here.token(bought, 'disclosure')}/animals/{other.pk}/problem"
    assert anyone.open(path).status == 404


def test_a_buyer_sends_letters_elsewhere_and_turns_reminders_off(
    here: Here, anyone: Browser, fallen: Sale
) -> None:
    path = f"/offers/{here.token(fallen, 'disclosure')}"
    assert "bela@buyers.example" in anyone.open(path).text
    done = anyone.fill(f"{path}/address", "", email="bela@new.example")
    assert done.goes_to == path
    fallen.buyer.refresh_from_db()
    assert fallen.buyer.email == "bela@new.example"
    assert Letter.objects.get(kind="disclosure").to == "bela@new.example"
    assert Letter.objects.get(kind="address_changed").to == "bela@buyers.example"
    refused = anyone.fill(f"{path}/address", "", email="not an address")
    assert refused.status == 422
    anyone.fill(path, "/reminders")
    fallen.buyer.refresh_from_db()
    assert not fallen.buyer.reminders
    assert "You are not reminded" in anyone.open(path).text


def test_the_seller_corrects_only_an_address_that_does_not_work(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    path = f"/sales/{fallen.pk}/address"
    refused = odile.fill(path, "", email="odile@else.example")
    assert refused.status == 422
    assert "Only the buyer can change an address that works" in refused.text
    Letter.objects.filter(kind="disclosure").update(state="returned")
    done = odile.fill(path, "", email="bela@new.example")
    assert done.goes_to == f"/sales/{fallen.pk}"
    assert "letters go again" in odile.open(done.goes_to).text.lower()


def test_the_weekly_letter_is_turned_off_and_on(here: Here, odile: Browser) -> None:
    for wanted in (False, True):
        odile.fill("/account", "/digest")
        here.odile.refresh_from_db()
        assert here.odile.digest is wanted

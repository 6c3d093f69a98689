"""A buyer without an account reads, answers, and is never bound to what they have not seen."""

import re
from datetime import timedelta
from uuid import UUID

import pytest
from django.utils import timezone
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pictures import body_of, plain_file
from tests.plugins.told_once import told_once
from tests.signing import phone
from tests.world import new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.ledger.models import Entry, Text
from scalewitness.mail.models import Letter
from scalewitness.people.services import name_practitioner
from scalewitness.sales.models import Sale, SaleStep
from scalewitness.sales.queries import progress_of

pytestmark = pytest.mark.one_in(6)


@told_once
def offered(here: Here) -> Sale:
    """A verified female with a vet's report among her calls, offered to Bela today."""
    animal = here.verified("R-21", "female")
    here.name(animal, "Linnet", description="Odile's own words about her.")
    here.say(
        here.odile,
        "identifier_assigned",
        animal.pk,
        {"scheme": "transponder", "code": "276098100000001"},
    )
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    return sale


def state(sale: Sale) -> str:
    return progress_of(Sale.objects.get(pk=sale.pk)).state


def test_the_offer_shows_what_is_known_how_sure_by_whom_and_what_could_be_wrong(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    page = anyone.open(f"/offers/{here.token(offered)}")
    assert page.status == 200
    for said in (
        "Odile Marten offers you Linnet",
        "R-21",
        "276098100000001",
        "ball python",
        "Verified female".lower(),
        "of animals with such a record about",
        "trusting every call less",
        "parameters sexing-3, rule policy-1",
        "The seller",
        "Independent keeper A",
        "Independent keeper B",
        "What could be wrong",
        "No record makes a sex certain",
        "the price is refunded",
        "Within 14 days",
        "local consumer law come first",
        "Do not probe or pop a snake yourself",
    ):
        assert said.lower() in page.text.lower(), said
    last = Entry.objects.order_by("-position")[0].position
    assert f"Shown as of log position {last}" in page.text


def test_the_offer_answers_first_and_shows_a_photo_only_from_before_it_was_made(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    """Nothing slipped in later stands where the eye falls first."""
    animal = offered.animals.get()
    _photo(here, animal, width=60)
    here.offer(offered)
    _photo(here, animal, width=70)
    html = anyone.open(f"/offers/{here.token(offered)}").html
    order = (
        "portrait", "<h1>", "label answer", "What could be wrong", "Who checked", "Added after",
        "How it is proved", "Computed by the server, log", "What you agreed",
        'aria-label="Your answer"', "/confirmation",
    )  # fmt: skip
    places = [html.index(one) for one in order]
    assert places == sorted(places)
    assert html.count("<img ") == 2


def _photo(here: Here, animal: Animal, width: int) -> None:
    file = plain_file(width)
    said = here.say(here.odile, "photo_attached", animal.pk, body_of(file))
    take_photo_file(UUID(said.id), file, Actor(keeper=here.odile.pk), here.now)


def test_the_offer_names_no_examiner_and_shows_no_free_text(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    page = anyone.open(f"/offers/{here.token(offered)}")
    assert "Guest R-21" not in page.html
    assert "@keepers.example" not in page.html
    assert "own words" not in page.html


def test_the_offer_says_what_was_signed_on_a_device(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    animal, one = offered.animals.get(), phone(here, here.odile)
    body = probing("female", "R-21")
    assert one.send(one.key.signed(here.item("call_made", animal.pk, body))).status == "accepted"
    vet = name_practitioner(here.odile, new_id(), "Dr Ilse Brandt")
    reported = body | {"reported": {"role": "veterinarian", "who": str(vet.pk)}}
    assert one.send(one.key.signed(here.item("call_made", animal.pk, reported))).position
    for page in (
        anyone.open(f"/offers/{here.token(offered)}"),
        Browser(here.odile).open(f"/animals/{animal.pk}"),
    ):
        assert page.text.count("Signed on the examiner's device.") == 1
        assert page.text.count("Signed on the sender's device.") == 1, "not the vet's"
        assert page.text.count("Not signed on a device.") == 3


def test_the_link_leaves_no_trace_and_needs_no_cookie(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    page = anyone.open(f"/offers/{here.token(offered)}")
    assert page.response["Referrer-Policy"] == "no-referrer"
    assert "no-store" in page.response["Cache-Control"]
    assert not page.response.cookies


def test_confirming_records_what_was_seen_and_what_was_typed(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    confirmed = anyone.fill(path, "/confirmation", statement="I rely on a verified female.")
    assert confirmed.goes_to == path
    assert state(offered) == "confirmed"
    step = offered.steps.get(kind="sale_confirmed")
    assert step.body["seen"] == step.position - 1
    assert Text.objects.get(fact=step.pk).text == "I rely on a verified female."
    page = anyone.open(path)
    assert f"on record at position {step.position}" in page.text
    left = [one.action.rpartition("/")[2] for one in page.forms]
    assert left == ["reminders"], "there is nothing left to answer"


def test_confirming_twice_counts_once(here: Here, anyone: Browser, offered: Sale) -> None:
    page = anyone.open(f"/offers/{here.token(offered)}")
    form = page.form("/confirmation")
    for _ in range(2):
        assert anyone.send(form, statement="Yes.").status == 302
    assert offered.steps.filter(kind="sale_confirmed").count() == 1


def test_an_empty_statement_is_refused_beside_the_field(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    refused = anyone.fill(f"/offers/{here.token(offered)}", "/confirmation", statement=" ")
    assert refused.status == 422
    assert "Nothing was recorded." in refused.text
    assert state(offered) == "offered"


def test_a_confirmation_of_what_has_moved_is_refused_with_what_changed(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    """Old and new side by side; then the page itself is what is confirmed next."""
    form = anyone.open(f"/offers/{here.token(offered)}").form("/confirmation")
    animal = offered.animals.get()
    code = {"scheme": "transponder", "code": "276 098 100 000 002"}
    here.say(here.odile, "identifier_assigned", animal.pk, code)
    here.name(animal, "Fern")
    refused = anyone.send(form, statement="I rely on her.")
    assert refused.status == 409
    assert "Your confirmation was not recorded." in refused.text
    rows = re.findall(r"<tr><th[^>]*>(.*?)</tr>", refused.html, re.DOTALL)
    assert any("Fern: name" in row and "Linnet" in row for row in rows)
    assert any("Fern: codes" in row and "transponder 276098100000002" in row for row in rows)
    assert state(offered) == "offered"
    again = refused.form("/confirmation")
    assert again.values["statement"] == ["I rely on her."], "nothing typed is lost"
    assert anyone.send(again).status == 302
    assert state(offered) == "confirmed"


def test_a_photo_added_meanwhile_is_shown_as_such_and_stops_nothing(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    form = anyone.open(path).form("/confirmation")
    assert "Added after the offer was made" not in anyone.open(path).text
    body = body_of(plain_file())
    here.say(here.odile, "photo_attached", offered.animals.get().pk, body)
    assert anyone.send(form, statement="I rely on her.").goes_to == path
    assert "Added after the offer was made" in anyone.open(path).text


def test_a_held_sale_says_so_and_cannot_be_confirmed(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    token = here.token(offered)
    form = anyone.open(f"/offers/{token}").form("/confirmation")
    animal = offered.animals.get()
    here.call(here.stan, animal, "male", visit=here.visit(here.stan, animal))
    assert here.label(animal) == "contested"
    page = anyone.open(f"/offers/{token}")
    assert "The sale is held." in page.text
    assert "Please do not pay" in page.text
    assert "You were offered “verified female”; the record now says “contested”" in page.text
    assert not [one for one in page.forms if one.action.endswith("/confirmation")]
    refused = anyone.send(form, statement="Yes.")
    assert refused.status == 409
    for said in ("The record changed", "verified female", "contested", "please do not pay", "Yes."):
        assert said in refused.text, said
    assert state(offered) == "offered"


def test_declining(here: Here, anyone: Browser, offered: Sale) -> None:
    path = f"/offers/{here.token(offered)}"
    assert anyone.fill(path, "/refusal", note="Not this year.").goes_to == path
    assert state(offered) == "declined"
    assert "You declined this offer" in anyone.open(path).text


def test_asking_for_a_check_tells_the_seller_and_keeps_the_offer_open(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    path = f"/offers/{here.token(offered)}"
    assert anyone.fill(path, "/check-request", note="By somebody else, please.").status == 302
    page = anyone.open(path)
    assert "You asked for an independent check" in page.text
    assert page.form("/confirmation")
    assert Letter.objects.filter(kind="check_requested", to=here.odile.email).count() == 1


def test_a_lapsed_offer_says_so(here: Here, anyone: Browser, offered: Sale) -> None:
    soon = timezone.now() + timedelta(milliseconds=900)
    here.now = timezone.now()
    here.offer(offered, expires=f"{soon:%Y-%m-%dT%H:%M:%S}.{soon.microsecond // 1000:03d}Z")
    token = here.token(offered)
    while timezone.now() < soon:
        pass
    # The link itself ends with the offer, as any other that opens nothing any more.
    assert "no longer works" in anyone.open(f"/offers/{token}").text


@pytest.mark.parametrize("token", ["nonsense", "01936f00:abc", "x" * 300])
def test_links_that_open_nothing_are_all_alike(anyone: Browser, token: str) -> None:
    page = anyone.open(f"/offers/{token}")
    assert page.status == 404
    assert "This link no longer works" in page.text
    assert page.response["Referrer-Policy"] == "no-referrer"


def test_an_older_offers_link_is_revoked_by_a_new_offer(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    old = here.token(offered)
    form = anyone.open(f"/offers/{old}").form("/confirmation")
    here.offer(offered)
    new = here.token(offered)
    assert old != new
    assert anyone.open(f"/offers/{old}").status == 404
    late = anyone.send(form, statement="I rely on <b>her</b>.")
    assert late.status == 404
    assert "Nothing was recorded. You had written: I rely on <b>her</b>." in late.text
    assert anyone.open(f"/offers/{new}").status == 200


def test_an_offer_link_does_not_acknowledge_and_a_plain_visit_answers_nothing(
    here: Here, anyone: Browser, offered: Sale
) -> None:
    token = here.token(offered)
    for answer in ("confirmation", "refusal", "check-request"):
        assert anyone.open(f"/offers/{token}/{answer}").goes_to == f"/offers/{token}"
    assert state(offered) == "offered"


def test_a_browser_that_hides_its_origin_can_answer(here: Here, offered: Sale) -> None:
    """A page with ``Referrer-Policy: no-referrer`` has browsers send ``Origin: null`` with
    its forms (Fetch standard, "append a request Origin header"); the answer must count."""
    strict = Browser(enforce_csrf_checks=True)
    token = here.token(offered)
    form = strict.open(f"/offers/{token}").form("/refusal")
    sent = strict.client.post(form.action, form.values, headers={"origin": "null"})
    assert sent.status_code == 302
    assert state(offered) == "declined"


def test_keepers_pages_do_need_their_token(here: Here) -> None:
    strict = Browser(here.odile, enforce_csrf_checks=True)
    refused = strict.client.post("/collections/new", {"name": "Forged"})
    assert refused.status_code == 403
    assert "The form was open too long" in refused.content.decode()


def test_who_confirmed_without_a_day_to_pay_reads_of_none(
    here: Here, anyone: Browser, odile: Browser, offered: Sale
) -> None:
    """As in the log's past, from before a confirmation said what was shown."""
    page, link = f"/sales/{offered.pk}", f"/offers/{here.token(offered)}"
    assert "Within 14 days of the confirmation" in odile.open(page).text
    looked = here.look(offered)
    body = {"offer": looked["offer"], "seen": looked["seen"]}
    step = {"kind": "sale_confirmed", "at": here.now, "position": 10_000, "body": body}
    SaleStep.objects.create(pk=new_id(here.now), sale=offered, by=offered.buyer_id, **step)
    assert "Within 14 days of the confirmation" not in odile.open(page).text
    assert "To be recorded within" not in anyone.open(link).text
    assert "The confirmation names no day for it" in odile.open(page).text


def test_its_species_is_said_once_also_after_it_was_handed_over(
    here: Here, anyone: Browser
) -> None:
    animal = here.verified("R-22")
    here.name(animal, "Alder")
    here.now_is_now()
    sale = here.sold(animal)
    page = anyone.open(f"/offers/{here.token(sale)}")
    assert "Alder, ball python" in page.text
    assert "ball python, ball python" not in page.text

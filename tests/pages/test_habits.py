"""Times, days and weights as their reader is used to: on pages, in forms and letters; papers,
receipts and the API keep UTC and grams."""

from datetime import UTC, datetime
from uuid import UUID

import pytest
from django.conf import LazySettings
from tests.api.client import Api
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.pages.test_papers import fetched, text_of

from scalewitness.animals.models import Husbandry
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper
from scalewitness.visits.models import Visit

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]
OPENS, CLOSES = datetime(2027, 1, 9, 14, 5, tzinfo=UTC), datetime(2027, 1, 12, 23, 30, tzinfo=UTC)


def choose(who: Keeper, zone: str) -> Browser:
    browser = Browser(who)
    browser.fill("/account", "/habits", time_zone=zone)
    return browser


def test_what_a_keeper_types_and_reads_is_in_their_own_zone(
    here: Here, settings: LazySettings
) -> None:
    settings.LOCAL_TIME_ZONE = "America/New_York"
    host, guest = choose(here.odile, "Asia/Kolkata"), choose(here.greta, "Europe/Berlin")
    animal = here.animal("A1")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/visits/new"
    page = host.open(path)
    assert "From (Asia/Kolkata)" in page.text
    sent = host.fill(
        path,
        email=here.greta.email,
        opens="2027-01-09T19:35",
        closes="2027-01-13T05:00",
        animals=[str(animal.pk)],
    )
    assert sent.status == 302
    letter = Letter.objects.get(kind="visit_by_letter")
    assert "9 January 2027, 09:05 EST" in str(compose(letter).body)
    guest.send(guest.open(sent.goes_to).form("/acceptance"))
    visit = Visit.objects.get()
    assert (visit.opens, visit.closes) == (OPENS, CLOSES)
    assert "9 January 2027, 19:35 IST" in host.open(f"/visits/{visit.pk}").text
    read = guest.open(f"/visits/{visit.pk}").text
    assert "9 January 2027, 15:05 CET" in read
    assert "13 January 2027, 00:30 CET" in read
    told = Api(here.greta).get(f"/visits/{visit.pk}").body
    assert told["opens"] == "2027-01-09T14:05:00Z"
    fact = Entry.objects.get(kind="visit_invited").fact
    receipt = host.open(f"/receipts/{fact}").text
    assert "9 January 2027, 14:05 UTC" in receipt


def test_who_chose_none_reads_the_records_own(here: Here, settings: LazySettings) -> None:
    settings.LOCAL_TIME_ZONE = "Europe/Berlin"
    here.now_is_now()
    here.draft(here.animal("A1"))
    here.invite(here.stan, here.animal("A2"))
    letter = Letter.objects.get(kind="visit_invitation")
    letter.context |= {"opens": OPENS.isoformat()}
    assert "15:05 CET" in str(compose(letter).body)
    letter.recipient = UUID(int=7)
    assert "15:05 CET" in str(compose(letter).body), "whoever has no account too"


def test_a_zone_that_is_none_is_refused(here: Here) -> None:
    browser = Browser(here.odile)
    for typed in ("Europe/Nowhere", "../../etc/passwd", "x" * 500):
        browser.client.post("/account/habits", {"time_zone": typed})
        browser.client.post("/account/time-zone", {"time_zone": typed})
        here.odile.refresh_from_db()
        assert here.odile.time_zone == ""
    here.odile.time_zone = "Europe/Nowhere"  # known once, and no longer
    here.odile.save()
    assert browser.open("/account").status == 200


def test_weights_are_typed_and_read_in_ounces_and_kept_in_grams(here: Here) -> None:
    animal = here.animal("A1")
    here.make_partner(here.fenna)
    here.now_is_now()
    browser = Browser(here.odile)
    browser.fill("/account", "/habits", weight_unit="ounces", day_style="month_first")
    path = f"/animals/{animal.pk}"
    form = browser.open(f"{path}/husbandry/weight")
    assert "Ounces" in form.text
    assert "Grams" not in form.text
    # 21.5 avoirdupois ounces of 28.349523125 g each (international yard and pound, 1959)
    assert browser.fill(f"{path}/husbandry/weight", grams="21.5").status == 302
    assert Husbandry.objects.get(animal=animal).noted["grams"] == "609.5"
    day = f"{here.now:%B} {here.now.day}, {here.now.year}"
    assert f"21.5 oz, {day}" in browser.open(path).text
    assert "21.5 oz" in browser.open("/animals").text
    Browser(here.fenna).fill("/account", "/habits", day_style="iso")
    assert "609.5 g" in Browser(here.fenna).open(path).text, "a partner reads as they are used to"


def test_no_page_that_shows_a_weight_shows_grams_to_who_reads_ounces(here: Here) -> None:
    """Each with a weight of 28.3 g, which is small: a guest's sheet and its cautions, too."""
    animal = here.animal("A1")
    here.say(
        here.odile, "husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": "28.3"}}
    )
    here.now_is_now()
    visit = here.visit(here.greta, animal)
    for who in (here.odile, here.greta):
        browser = Browser(who)
        browser.fill("/account", "/habits", weight_unit="ounces", day_style="iso")
        for path in (f"/visits/{visit}/sheet", f"/animals/{animal.pk}", "/animals"):
            shown = browser.open(path).text
            assert "1 oz" in shown, path
            assert "28.3" not in shown, path
    assert "It is small (1 oz)" in Browser(here.greta).open(f"/visits/{visit}/sheet").text
    told = Api(here.odile).get(f"/animals/{animal.pk}").body
    assert told["condition"]["grams"] == "28.3"


def test_a_paper_is_its_printers(here: Here) -> None:
    animal = here.animal("A1", hatched="2026-06-04")
    here.now_is_now()
    for who, day, zone in ((here.odile, "June 4, 2026", "CET"), (here.pim, "2026-06-04", "JST")):
        style = {"CET": "month_first", "JST": "iso"}[zone]
        place = {"CET": "Europe/Berlin", "JST": "Asia/Tokyo"}[zone]
        if who != here.odile:
            here.make_partner(who)
        browser = Browser(who)
        browser.fill("/account", "/habits", day_style=style, time_zone=place)
        printed = text_of(fetched(browser, f"/animals/{animal.pk}/record.pdf"))
        assert (day in printed, f" {zone}" in printed) == (True, True), printed


def test_a_letter_writes_days_as_its_reader_does(here: Here) -> None:
    browser = Browser(here.greta)
    browser.fill("/account", "/habits", time_zone="America/Chicago", day_style="month_first")
    here.now_is_now()
    here.invite(here.greta, here.animal("A2"))
    letter = Letter.objects.get(kind="visit_invitation")
    letter.context |= {"opens": OPENS.isoformat()}
    assert "January 9, 2027, 08:05 CST" in str(compose(letter).body)
    browser.fill("/account", "/habits", day_style="iso")
    assert "2027-01-09, 08:05 CST" in str(compose(letter).body)


def test_a_habit_that_is_none_is_refused(here: Here) -> None:
    browser = Browser(here.odile)
    browser.client.post("/account/habits", {"day_style": "roman", "weight_unit": "stones"})
    here.odile.refresh_from_db()
    assert (here.odile.day_style, here.odile.weight_unit) == ("", "")
    here.odile.day_style, here.odile.weight_unit = "roman", "stones"  # known once, and no longer
    here.odile.save()
    assert browser.open("/account").status == 200


def test_a_new_account_has_its_browsers_zone(here: Here) -> None:
    sent = {"name": "Wim Oort", "password1": "seven-quiet-otters-9"}
    Browser().client.post(
        "/accounts/signup/", {**sent, "email": "wim@example.org", "time_zone": "Europe/Oslo"}
    )
    Browser().client.post(
        "/accounts/signup/", {**sent, "email": "wima@example.org", "time_zone": "Mars/Olympus"}
    )
    zones = {one.email: one.time_zone for one in Keeper.objects.filter(name="Wim Oort")}
    assert zones == {"wim@example.org": "Europe/Oslo", "wima@example.org": ""}

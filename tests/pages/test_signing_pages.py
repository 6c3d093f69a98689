"""Forms that the keeper's browser signs: asked first what they would state, then sent with it."""

import json
from hashlib import sha256
from typing import Any

import pytest
from django.core.cache import cache
from django.core.files.uploadedfile import SimpleUploadedFile
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.pages.signing import HERE, SigningBrowser
from tests.pages.test_methods import COMMON
from tests.pages.test_new_clutch import grid
from tests.pictures import camera_file
from tests.signing import Phone, phone, rule
from tests.world import PASSWORD, new_id

from scalewitness.animals.models import Animal, Identifier, Photo
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.calls.models import Call
from scalewitness.domain.translog.devices import holds
from scalewitness.intake.devices import sign_out_everywhere
from scalewitness.ledger.models import Entry, Text
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.letters.visits import MOST_TO_ONE
from scalewitness.mail.models import Letter
from scalewitness.pages.parts import stating
from scalewitness.people.models import Device, Practitioner
from scalewitness.people.queries.own_word import by_password_only
from scalewitness.visits.models import InvitationByLetter

pytestmark = pytest.mark.one_in(6)

TYPED = {**COMMON, "feature": "spurs", "note": "calm\r\nwhile held"}


@pytest.fixture
def animal(here: Here) -> Animal:
    return here.animal("R-01")


@pytest.fixture
def device(here: Here, animal: Animal) -> Phone:
    """Odile's phone, on which she ruled once the animal was there."""
    made = phone(here, here.odile)
    assert made.send(rule(made, wait=True)).status == "accepted"
    here.now_is_now()
    return made


@pytest.fixture
def browser(here: Here, device: Phone) -> SigningBrowser:
    """Odile's, whose key her phone endorsed."""
    made = SigningBrowser(here.odile).enrol()
    here.now_is_now()
    key = made.key
    said = {"device": key.device, "key": key.public}
    item = device.key.signed(here.item("device_key_endorsed", here.odile.pk, said))
    assert device.send(item).status == "accepted"
    return made


def call_page(browser: SigningBrowser, animal: Animal) -> Page:
    return browser.open(f"/animals/{animal.pk}/calls/new/visual")


def is_signed(browser: SigningBrowser, entry: Entry) -> bool:
    leaf = leaf_of(entry)
    return leaf.device == browser.key.device and holds(leaf, bytes.fromhex(browser.key.public))


def test_a_call_is_signed_and_counts_under_the_rule(
    animal: Animal, browser: SigningBrowser
) -> None:
    form = call_page(browser, animal).form()
    before = Entry.objects.count()
    (fact,) = browser.to_sign(form, **TYPED)
    assert Entry.objects.count() == before, "asking records nothing"
    assert (fact["kind"], fact["about"]) == ("call_made", str(animal.pk))
    assert (fact["body"]["conclusion"], fact["texts"]) == (
        TYPED["conclusion"],
        {"note": "calm\r\nwhile held"},
    )
    page = browser.send_signed(form, **TYPED)
    assert page.goes_to == f"/calls/{fact['id']}"
    entry = Entry.objects.get(fact=fact["id"])
    assert is_signed(browser, entry)
    assert Text.objects.get(fact=entry.fact).text == "calm\r\nwhile held"


def test_sent_twice_it_is_one_fact(animal: Animal, browser: SigningBrowser) -> None:
    """A double press, the way back and another press, a second tab: each signs under new salts."""
    form = call_page(browser, animal).form()
    pages = [browser.send_signed(form, **TYPED) for _ in range(2)]
    assert pages[0].goes_to == pages[1].goes_to
    assert Call.objects.count() == 1


def test_other_facts_than_those_signed_are_refused(animal: Animal, browser: SigningBrowser) -> None:
    form = call_page(browser, animal).form()
    signed = browser.signed(*browser.to_sign(form, **TYPED))
    page = browser.send_with(form, signed, **TYPED | {"conclusion": "male"})
    assert (page.status, Call.objects.count()) == (422, 0)
    assert page.form().values["note"] == ["calm\r\nwhile held"]
    (fact,) = browser.to_sign(form, **TYPED)
    other = browser.signed({**fact, "id": str(fact["about"])})
    page = browser.send_with(form, other, **TYPED)
    assert "states something else than what this browser signed" in page.text
    assert not Call.objects.exists()


def test_a_form_filled_in_wrongly_is_sent_as_ever(animal: Animal, browser: SigningBrowser) -> None:
    form = call_page(browser, animal).form()
    answer = browser.ask(form, **TYPED | {"conclusion": ""})
    assert (answer.status_code, answer.content) == (204, b"")


def test_several_facts_of_one_form_are_signed_each(here: Here, browser: SigningBrowser) -> None:
    form = browser.open(f"/collections/{here.collection.pk}/animals/new").form()
    typed = {"species": "python_regius", "scheme": "tag", "identifier": "LG-9", "name": "Fern"}
    page = browser.send_signed(form, **typed)
    made = Identifier.objects.get(code="LG-9").animal
    assert (page.goes_to, made.name) == (f"/animals/{made.pk}", "Fern")
    assert all(
        is_signed(browser, one) for one in Entry.objects.filter(about=made.pk, by__isnull=False)
    )


def test_a_clutch_is_signed_whole(here: Here, animal: Animal, browser: SigningBrowser) -> None:
    form = grid(browser, here, dam=str(animal.pk), species="python_regius").form()
    form.names["step"] = "hidden"
    page = browser.send_signed(form, **{"step": "register", "y-0-name": "Perrin"})
    assert page.status == 302
    young = Animal.objects.exclude(pk=animal.pk)
    assert young.filter(name="Perrin").exists()
    about = Entry.objects.filter(about__in=young, by__isnull=False)
    assert all(is_signed(browser, one) for one in about)


def test_a_photo_is_signed_as_the_record_keeps_it(animal: Animal, browser: SigningBrowser) -> None:
    """The file goes twice, and is drawn anew to the same bytes each time."""
    form = browser.open(f"/animals/{animal.pk}/photos/new").form()
    (fact,) = browser.to_sign(form, picture=_picture())
    page = browser.send_with(form, browser.signed(fact), picture=_picture())
    assert page.status == 302
    photo = Photo.objects.get()
    kept = photo_file(photo.pk)
    assert kept is not None
    assert sha256(kept).hexdigest() == fact["body"]["sha256"]
    assert is_signed(browser, Entry.objects.get(fact=photo.pk))


def _picture() -> Any:
    return SimpleUploadedFile("snake.jpg", camera_file(), "image/jpeg")


def test_a_check_by_somebody_named_the_first_time_is_signed(
    animal: Animal, browser: SigningBrowser
) -> None:
    """They are named to the record when the call is sent, and not when it is asked for."""
    form = call_page(browser, animal).form()
    typed = {**TYPED, "reported_role": "laboratory", "reported_name": "Loci & Sons"}
    (fact,) = browser.to_sign(form, **typed)
    assert not Practitioner.objects.exists()
    assert browser.send_signed(form, **typed).status == 302
    assert str(Practitioner.objects.get().pk) == fact["body"]["reported"]["who"]


def test_asking_counts_no_letter_and_tries_no_intake(
    here: Here, animal: Animal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is counted, and files, would outlast what is taken back."""
    browser = SigningBrowser(here.odile).enrol()
    form = browser.open(f"/collections/{here.collection.pk}/visits/new").form()
    cache.clear()
    given = {"email": "friend@people.example", "animals": [str(animal.pk)]}
    for _ in range(MOST_TO_ONE[0][0]):
        assert browser.ask(form, **given).status_code == 204
    assert not InvitationByLetter.objects.exists()
    assert browser.send(form, **given).status == 302
    assert Letter.objects.filter(to="friend@people.example").exists()
    without_a_key = SigningBrowser(here.odile)
    form = call_page(without_a_key, animal).form()
    monkeypatch.setattr(stating, "accept", pytest.fail)
    assert without_a_key.ask(form, **TYPED).status_code == 204


# --- the browser as a device


def test_enrolling_makes_a_device_without_a_token(here: Here, device: Phone) -> None:
    browser = SigningBrowser(here.odile).enrol("Browser at the desk")
    made = browser.device
    assert (made.name, made.token, made.key.public) == (
        "Browser at the desk",
        None,
        browser.key.public,
    )
    assert by_password_only([made.pk]) == {made.pk}
    kinds = Letter.objects.values_list("kind", flat=True)
    assert {"browser_signs", "key_enrolled"} <= set(kinds)
    text = browser.open(HERE).text
    assert "None of your other devices has endorsed it yet" in text
    assert "wait three days" in text


def test_a_key_that_nobody_endorsed_waits(here: Here, animal: Animal, device: Phone) -> None:
    browser = SigningBrowser(here.odile).enrol()
    form = call_page(browser, animal).form()
    page = browser.send_signed(form, **TYPED)
    assert not Call.objects.exists()
    assert "such keys wait three days" in page.text
    assert page.form().values["note"] == ["calm\r\nwhile held"]


def test_asking_enrols_nothing(here: Here) -> None:
    browser = SigningBrowser(here.odile)
    browser.again()
    form = browser.open(HERE).form()
    form.values |= {"device": [browser.key.device]}
    browser.to_sign(form, key=browser.key.public, name="desk")
    assert not Device.objects.exists()
    assert not Letter.objects.filter(kind="browser_signs").exists()


def test_without_a_signature_no_browser_is_enrolled(here: Here) -> None:
    browser = SigningBrowser(here.odile)
    browser.again()
    page = browser.fill(HERE, key=browser.key.public, name="desk")
    assert not Device.objects.exists()
    assert page.status >= 400


def test_nobody_takes_over_a_device_of_another(here: Here, device: Phone) -> None:
    greta = SigningBrowser(here.greta)
    greta.again()
    form = greta.open(HERE).form()
    form.values |= {"device": [str(device.device.pk)]}
    answer = greta.ask(form, key=greta.key.public, name="desk")
    assert answer.status_code == 404
    device.device.refresh_from_db()
    assert device.device.keeper_id == here.odile.pk


def test_it_signs_for_its_own_keeper_alone(here: Here, animal: Animal) -> None:
    """Greta signs in on the same browser: Odile's key signs nothing in Greta's name."""
    here.make_partner(here.greta)
    here.now_is_now()
    browser = SigningBrowser(here.odile).enrol()
    greta = SigningBrowser(here.greta)
    greta.key = browser.key
    form = call_page(greta, animal).form()
    assert greta.ask(form, **TYPED).status_code == 204
    (fact,) = browser.to_sign(form, **TYPED)
    page = greta.send_with(form, browser.signed(fact), **TYPED)
    assert (page.status, Call.objects.count()) == (422, 0)


def test_revoked_it_signs_no_more_and_pages_go_on(here: Here, animal: Animal) -> None:
    browser = SigningBrowser(here.odile).enrol()
    path = f"/devices/{browser.device.pk}/revocation"
    browser.send_signed(browser.open(HERE).form(path))
    entry = Entry.objects.get(kind="device_revoked")
    assert is_signed(browser, entry)
    form = call_page(browser, animal).form()
    assert browser.ask(form, **TYPED).status_code == 204
    assert browser.send(form, **TYPED).status == 302
    assert leaf_of(Entry.objects.get(kind="call_made")).sig is None


def test_under_the_rule_it_ends_the_key_of_another_device(
    here: Here, device: Phone, browser: SigningBrowser
) -> None:
    lost = phone(here, here.odile, name="lost")
    path = f"/devices/{lost.device.pk}/revocation"
    browser.send_signed(browser.open("/account").form(path))
    assert is_signed(browser, Entry.objects.get(kind="device_revoked"))
    lost.device.refresh_from_db()
    assert lost.device.revoked_at is not None


def test_signing_out_everywhere_ends_it_too(here: Here, browser: SigningBrowser) -> None:
    sign_out_everywhere(here.odile, here.now)
    assert browser.device.revoked_at is not None


def test_a_form_of_ones_own_that_states_nothing_changes_nothing_when_asked(
    here: Here, browser: SigningBrowser
) -> None:
    form = browser.open("/account").form("/account")
    assert browser.ask(form, name="Another name").status_code == 204
    here.odile.refresh_from_db()
    assert here.odile.name != "Another name"
    assert "Your name is changed" not in browser.open("/account").text


def test_elsewhere_asking_is_sending(here: Here) -> None:
    """Where passwords are tried nothing may be taken back, and nothing be tried unseen."""
    browser = Browser()
    form = browser.open("/accounts/login/").form()
    sent = form.values | {"login": here.odile.email, "password": PASSWORD}
    header = {"Scalewitness-To-Sign": str(new_id())}
    answer = browser.client.post(form.action, sent, headers=header)
    assert answer.status_code == 302
    assert browser.open("/account").status == 200


@pytest.mark.parametrize("signed", ["{}", "[]", "x", json.dumps({"device": "x", "facts": {}})])
def test_what_is_no_signature_counts_as_none(
    animal: Animal, browser: SigningBrowser, signed: str
) -> None:
    page = browser.send_with(call_page(browser, animal).form(), signed, **TYPED)
    assert (page.status, Call.objects.count()) == (403, 0)

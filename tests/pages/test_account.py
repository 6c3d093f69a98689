"""Accounts, devices and who has access."""

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from allauth.account.models import EmailAddress
from django.core.mail import EmailMultiAlternatives
from django.utils import timezone
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.signing import phone
from tests.world import PASSWORD

from scalewitness.domain.translog.signatures import fingerprint
from scalewitness.ledger.models import Entry
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.pages.parts.qr import qr
from scalewitness.people.models import Device, Grant, Keeper
from scalewitness.people.services import enrol_device, rename

pytestmark = pytest.mark.one_in(6)


def latest(kind: str) -> EmailMultiAlternatives:
    """The newest letter of a kind, as it would leave now."""
    return compose(Letter.objects.filter(kind=kind).latest("created_at"))


def new_address() -> str:
    """One nobody wrote to before: confirmations to one address are spaced out."""
    return f"rosa.{uuid4().hex}@keepers.example"


def test_signing_up_asks_for_a_name_and_sends_a_confirmation(db: None, anyone: Browser) -> None:
    address = new_address()
    made = anyone.fill("/accounts/signup/", name="Rosa Vale", email=address, password1=PASSWORD)
    assert made.goes_to == "/accounts/confirm-email/"
    assert "Check your mail" in anyone.open(made.goes_to).text
    assert Keeper.objects.get().name == "Rosa Vale"
    letter = latest("confirm_address")
    assert letter.subject == "Please confirm your address"
    link = re.search(r"http://testserver(/accounts/confirm-email/\S+)", str(letter.body))
    assert link is not None
    # The page signs its address anew: a second later it is another.
    page = anyone.send(anyone.open(link[1]).form("/"), password=PASSWORD)
    assert EmailAddress.objects.get().verified
    anyone.send(anyone.open(page.goes_to).form("/login/"), login=address, password=PASSWORD)
    assert f"{address}, confirmed" in anyone.open("/account").text


def test_a_weak_password_is_refused_beside_the_field(db: None, anyone: Browser) -> None:
    address = new_address()
    refused = anyone.fill(
        "/accounts/signup/", name="Rosa Vale", email=address, password1="12345678"
    )
    assert "too common" in refused.text
    assert refused.form().values["name"] == ["Rosa Vale"]
    assert not Keeper.objects.exists()


def test_signing_in_and_out(here: Here, anyone: Browser) -> None:
    asked = anyone.open(f"/collections/{here.collection.pk}")
    assert asked.goes_to == f"/accounts/login/?next=/collections/{here.collection.pk}"
    page = anyone.open(asked.goes_to)
    form = page.form("/login/")
    wrong = anyone.send(form, login=here.odile.email, password="not-that-one")
    assert wrong.status == 200
    assert "Nothing was recorded." not in wrong.text
    assert wrong.form().values["login"] == [here.odile.email]
    entered = anyone.send(form, login=here.odile.email, password=PASSWORD)
    assert entered.goes_to == f"/collections/{here.collection.pk}"
    anyone.send(anyone.open("/accounts/logout/").form())
    assert anyone.open("/account").status == 302


def test_a_forgotten_password_is_set_anew(here: Here, anyone: Browser) -> None:
    email = new_address()  # of one address so many an hour may be asked for, in all tests
    EmailAddress.objects.filter(user=here.odile).update(email=email)
    here.odile.email = email
    here.odile.save(update_fields=["email"])
    asked = anyone.fill("/accounts/password/reset/", email=email)
    assert "Check your mail" in anyone.open(asked.goes_to).text
    letter = latest("reset_password")
    assert letter.subject == "Set a new password"
    link = re.search(r"http://testserver(/accounts/password/reset/key/\S+)", str(letter.body))
    assert link is not None
    setting = anyone.open(anyone.open(link[1]).goes_to)
    done = anyone.send(setting.form(), password1="nine-calm-coils", password2="nine-calm-coils")
    assert "Your password is set" in anyone.open(done.goes_to).text
    here.odile.refresh_from_db()
    assert here.odile.check_password("nine-calm-coils")


@pytest.mark.parametrize("path", ["/accounts/email/", "/accounts/password/change/"])
def test_the_other_account_pages_are_in_our_look(here: Here, odile: Browser, path: str) -> None:
    page = odile.again().open(path)
    assert page.status == 200
    assert any(given.get("class") == "wordmark" for _, given in page.tags)
    assert odile.open("/accounts/confirm-email/").status == 200


def test_renaming_oneself_under_a_version(here: Here, odile: Browser) -> None:
    form = odile.open("/account").form()
    rename(here.odile, name="O. Marten", version=1, now=timezone.now())
    refused = odile.send(form, name="Odile M.")
    assert refused.status == 412
    assert "to “O. Marten”" in refused.text
    assert odile.send(refused.form(), name="Odile M.").status == 302
    here.odile.refresh_from_db()
    assert here.odile.name == "Odile M."


def test_a_device_is_signed_out(here: Here, odile: Browser, stan: Browser) -> None:
    device, _ = enrol_device(here.odile, "Rack phone", timezone.now())
    page = odile.open("/account")
    assert "Rack phone" in page.text
    form = page.form(f"/devices/{device.pk}/revocation")
    assert stan.send(form).status == 404, "not Stan's"
    assert Device.objects.get().revoked_at is None
    odile.send(form)
    assert Device.objects.get().token is None


def test_a_devices_key_is_shown_and_revoked(here: Here, odile: Browser, stan: Browser) -> None:
    here.now_is_now()
    one = phone(here, here.odile, name="Rack phone")
    enrol_device(here.odile, "Laptop", timezone.now())
    page = odile.open("/account")
    assert fingerprint(bytes.fromhex(one.key.public)) in page.text
    assert page.text.count("has no key to sign with") == 1
    form = page.form(f"/devices/{one.device.pk}/revocation")
    assert stan.send(form).status == 404
    for _ in range(2):
        assert odile.send(form).goes_to == "/account"
    entry = Entry.objects.get(kind="device_revoked")
    assert (entry.about, entry.device) == (here.odile.pk, None)
    assert "revoked" in odile.open("/account").text


def test_a_key_that_only_the_password_stands_for_is_a_code_to_compare(
    here: Here, odile: Browser
) -> None:
    here.now_is_now()
    first, slipped_in = (phone(here, here.odile, name=one) for one in ("Rack phone", "Stranger"))
    shown = odile.client.get("/account").content.decode()
    prints = [fingerprint(bytes.fromhex(one.key.public)) for one in (first, slipped_in)]
    codes = [str(qr(one, title="QR code of the key above it")) for one in prints]
    assert [code in shown for code in codes] == [False, True]


def test_a_partner_is_let_in_and_the_grant_ended(here: Here, odile: Browser) -> None:
    path = f"/collections/{here.collection.pk}/grants/new"
    here.now_is_now()
    assert odile.open(path).status == 302, "asked again first"
    form = odile.again().open(path).form()
    for _ in range(2):
        assert odile.send(form, email=here.pim.email, role="partner").goes_to == "/account"
    grant = Grant.objects.get()
    pim = Browser(here.pim)
    assert "The long room" in pim.open("/").text
    assert "partner of Odile Marten" in pim.open("/").text
    odile.send(odile.open("/account").form(f"/grants/{grant.pk}/revocation"))
    assert pim.open(f"/collections/{here.collection.pk}").status == 404
    assert "ended" in odile.open("/account").text


def test_both_sides_read_why_access_does_not_open_yet(
    here: Here, odile: Browser, greta: Browser
) -> None:
    here.now_is_now()
    here.now -= timedelta(hours=1)
    animal = here.animal("X-1")
    here.name(animal, "Moss")
    here.visit(here.greta, animal)
    here.now_is_now()
    form = odile.again().open(f"/collections/{here.collection.pk}/grants/new").form()
    odile.send(form, email=here.greta.email, role="partner")
    page = odile.open("/account")
    assert "They have access once their blind check is in" in page.text
    assert "Opens nothing yet: their blind check of Moss may still come in." in page.text
    theirs = greta.open("/account")
    assert "Opens once your blind checks are in" in theirs.text
    assert "Moss" not in theirs.text
    assert greta.open(f"/collections/{here.collection.pk}").status == 404
    visit = Grant.objects.get(role="guest").pk
    greta.send(theirs.form(f"/grants/{visit}/revocation"))
    assert "Opens" not in odile.open("/account").text
    assert greta.open(f"/collections/{here.collection.pk}").status == 200


def test_a_grant_may_be_given_back(here: Here) -> None:
    grant = here.make_partner(here.pim)
    here.now_is_now()
    pim = Browser(here.pim)
    pim.send(pim.open("/account").form(f"/grants/{grant}/revocation"))
    assert pim.open(f"/collections/{here.collection.pk}").status == 404


def test_a_partner_hands_out_no_grants(here: Here) -> None:
    here.make_partner(here.pim)
    here.now_is_now()
    pim = Browser(here.pim).again()
    path = f"/collections/{here.collection.pk}/grants/new"
    assert path not in pim.open(f"/collections/{here.collection.pk}").links
    sent = pim.fill(path, email=here.stan.email, role="viewer")
    assert sent.status == 404
    assert Grant.objects.filter(to=here.stan).count() == 0

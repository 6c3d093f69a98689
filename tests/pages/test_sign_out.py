"""Signing out everywhere, by the link in a letter about the account."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone
from tests.api.client import Api
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.signing import phone
from tests.world import PASSWORD

from scalewitness.intake.batch import Actor
from scalewitness.intake.devices import revoke_device, sign_out_everywhere
from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.mail.models import Letter
from scalewitness.mail.services import links
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Device, DeviceKeyEnd


def signed_in(here: Here, name: str = "Rack phone") -> str:
    """A new device's token, got by the password."""
    sent = {"email": here.odile.email, "password": PASSWORD, "name": name}
    return str(Api().post("/devices", sent).body["token"])


def answers(token: str) -> int:
    asked = Api()
    asked.headers["Authorization"] = f"Bearer {token}"
    return asked.get("/keepers/me").status


def link_in(letter: Letter) -> str:
    found = re.search(r"http://testserver(/sign-out/\S+)", str(compose(letter).body))
    assert found is not None
    return found[1]


def test_each_new_device_is_told_in_a_letter(here: Here) -> None:
    signed_in(here, "Rack phone")
    letter = Letter.objects.get(kind="device_added")
    assert letter.to == here.odile.email
    assert "“Rack phone”" in str(compose(letter).body)


def test_a_letters_link_signs_out_every_device_and_browser(here: Here, anyone: Browser) -> None:
    tokens = [signed_in(here, name) for name in ("Rack phone", "laptop")]
    at_home = Browser(here.odile)
    link = link_in(Letter.objects.filter(kind="device_added")[0])
    page = anyone.open(link)
    assert "laptop" in page.text
    assert "not sent yet stays on it" in page.text
    assert [answers(token) for token in tokens] == [200, 200], "opening it changes nothing"
    assert at_home.open("/account").status == 200
    assert "2 devices and every browser" in anyone.send(page.form()).text
    assert [answers(token) for token in tokens] == [401, 401]
    assert at_home.open("/account").status == 302
    assert Device.objects.filter(keeper=here.odile, revoked_at=None).count() == 0
    assert anyone.send(page.form()).status == 200, "once more changes nothing"


def test_nobody_elses_devices_end_with_them(here: Here, stan: Browser) -> None:
    phone = Api(here.stan)
    sign_out_everywhere(here.odile, timezone.now())
    assert phone.get("/keepers/me").status == 200
    assert stan.open("/account").status == 200


def test_a_key_ends_by_a_fact_when_its_device_is_signed_out(here: Here) -> None:
    here.now_is_now()
    one = phone(here, here.odile, name="Rack phone")
    sign_out_everywhere(here.odile, timezone.now())
    entry = Entry.objects.get(kind="device_revoked")
    assert entry.about == here.odile.pk
    assert DeviceKeyEnd.objects.get().key_id == one.device.pk


@pytest.mark.parametrize("everywhere", [True, False])
def test_a_token_ends_while_the_log_takes_nothing(here: Here, everywhere: bool) -> None:
    here.now_is_now()
    one = phone(here, here.odile, name="Rack phone")
    raise_fence("restored", timezone.now())
    if everywhere:
        sign_out_everywhere(here.odile, timezone.now())
    else:
        revoke_device(here.odile, one.device.pk, Actor(keeper=here.odile.pk), timezone.now())
    one.device.refresh_from_db()
    assert one.device.token is None
    assert one.device.revoked_at is not None


def test_a_link_that_is_forged_or_too_old_opens_nothing(
    here: Here, anyone: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    token = links.sign_out_token(here.odile.pk)
    assert anyone.open(f"/sign-out/{token}").status == 200
    assert anyone.open(f"/sign-out/{token[:-1]}").status == 404
    assert Client().post(f"/sign-out/{here.odile.pk.hex}:1:x").status_code == 404
    monkeypatch.setattr(links, "SIGN_OUT_FOR", timedelta(seconds=-1))
    assert anyone.open(f"/sign-out/{token}").status == 404

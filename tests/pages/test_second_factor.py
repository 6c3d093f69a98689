"""The second factor on pages: set up, asked for, asked for again, removed."""

import re
from datetime import timedelta

import pytest
from allauth.mfa.models import Authenticator
from django.contrib.sessions.models import Session
from django.core.cache import cache
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.second_factors import WRONG, app_of, code_of
from tests.world import PASSWORD

from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.one_in(6)

AUTHENTICATE = "/accounts/2fa/authenticate/"
SET_UP = "/accounts/2fa/app/set-up/"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def events(keeper: Keeper) -> list[str]:
    told = Letter.objects.filter(kind="second_factor", recipient=keeper.pk)
    return [one.context["event"] for one in told.order_by("created_at", "pk")]


def password_given(anyone: Browser, keeper: Keeper, path: str = "/accounts/login/") -> str:
    """Where the right password leads."""
    sent = anyone.send(anyone.open(path).form("/login/"), login=keeper.email, password=PASSWORD)
    return sent.goes_to


def is_in(one: Browser) -> bool:
    return one.open("/account").status == 200


def set_up_an_app(browser: Browser) -> tuple[str, list[str]]:
    """Its secret and the recovery codes, as the pages show them."""
    import time

    page = browser.again().open(SET_UP)
    (secret,) = re.findall(r"Secret: ([A-Z2-7]{32})", page.text)
    assert page.html.count("<svg") == 1
    shown = browser.send(page.form(SET_UP), code=code_of(secret, time.time()))
    assert shown.goes_to == "/accounts/2fa/recovery-codes/"
    codes = re.findall(r"\b\d{8}\b", browser.open(shown.goes_to).text)
    return secret, codes


def test_the_password_alone_leads_to_the_second_step_and_no_further(
    here: Here, anyone: Browser
) -> None:
    app = app_of(here.odile)
    assert password_given(anyone, here.odile) == AUTHENTICATE
    assert not is_in(anyone)
    step = anyone.open(AUTHENTICATE)
    wrong = anyone.send(step.form(AUTHENTICATE), code=WRONG)
    assert "wrong or was used already" in wrong.text
    assert not is_in(anyone)
    assert anyone.send(step.form(AUTHENTICATE), code=app.code()).goes_to == "/"
    assert is_in(anyone)


def test_where_one_wanted_to_go_is_kept_through_the_second_step(
    here: Here, anyone: Browser
) -> None:
    app = app_of(here.odile)
    path = f"/collections/{here.collection.pk}"
    asked = password_given(anyone, here.odile, f"/accounts/login/?next={path}")
    assert asked.startswith(AUTHENTICATE)
    assert anyone.fill(AUTHENTICATE, code=app.code()).goes_to == path


def test_a_code_seen_over_a_shoulder_opens_nothing_a_second_time(
    here: Here, anyone: Browser
) -> None:
    app = app_of(here.odile)
    password_given(anyone, here.odile)
    code = app.code()
    anyone.fill(AUTHENTICATE, code=code)
    other = Browser()
    password_given(other, here.odile)
    assert "used already" in other.fill(AUTHENTICATE, code=code).text
    assert not is_in(other)


def test_a_keeper_without_one_signs_in_as_before(here: Here, anyone: Browser) -> None:
    app_of(here.odile)
    assert password_given(anyone, here.stan) == "/"
    assert is_in(anyone)


def test_a_reset_by_letter_still_asks_for_the_second_factor(here: Here, anyone: Browser) -> None:
    app = app_of(here.odile)
    anyone.fill("/accounts/password/reset/", email=here.odile.email)
    text = str(compose(Letter.objects.get(kind="reset_password")).body)
    link = re.search(r"http://testserver(/accounts/password/reset/key/\S+)", text)
    assert link is not None
    setting = anyone.open(anyone.open(link[1]).goes_to)
    anyone.send(setting.form(), password1="nine-calm-coils", password2="nine-calm-coils")
    assert not is_in(anyone)
    form = anyone.open("/accounts/login/").form("/login/")
    sent = anyone.send(form, login=here.odile.email, password="nine-calm-coils")
    assert sent.goes_to == AUTHENTICATE
    assert not is_in(anyone)
    anyone.fill(AUTHENTICATE, code=app.code())
    assert is_in(anyone)


def test_an_app_is_set_up_and_the_recovery_codes_are_shown_once(here: Here, odile: Browser) -> None:
    secret, codes = set_up_an_app(odile)
    assert len(codes) == len(set(codes)) == 10
    again = odile.open("/accounts/2fa/recovery-codes/")
    assert not re.findall(r"\b\d{8}\b", again.text)
    assert "cannot be shown again" in again.text
    assert events(here.odile) == ["totp_added"]
    assert "On:" in odile.open("/accounts/2fa/").text
    assert secret not in str(Authenticator.objects.values())
    anyone = Browser()
    password_given(anyone, here.odile)
    anyone.fill(AUTHENTICATE, code=codes[0])
    assert is_in(anyone)
    assert events(here.odile) == ["totp_added", "code_used"]
    assert "9 are left" in odile.open("/accounts/2fa/").text


def test_the_secret_waits_sealed_in_the_session(here: Here, odile: Browser) -> None:
    (secret,) = re.findall(r"Secret: ([A-Z2-7]{32})", odile.again().open(SET_UP).text)
    for one in Session.objects.all():
        assert secret not in str(one.get_decoded())


def test_a_mistyped_code_keeps_the_secret_that_was_scanned(here: Here, odile: Browser) -> None:
    page = odile.again().open(SET_UP)
    wrong = odile.send(page.form(SET_UP), code=WRONG)
    assert "Is the clock of your phone right?" in wrong.text
    secret = re.findall(r"Secret: ([A-Z2-7]{32})", page.text)
    assert re.findall(r"Secret: ([A-Z2-7]{32})", wrong.text) == secret
    assert not Authenticator.objects.exists()


def test_only_who_proved_an_address_sets_one_up(here: Here) -> None:
    from scalewitness.people.services import sign_up

    squatter = sign_up(name="Squatter", email="not.mine@keepers.example", password=PASSWORD)
    browser = Browser(squatter).again()
    for path in (SET_UP, "/accounts/2fa/passkeys/new/"):
        assert browser.open(path).goes_to == "/accounts/2fa/"
        assert browser.client.post(path, {"code": WRONG}).status_code == 302
    assert "Confirm your address first" in browser.open("/accounts/2fa/").text


def test_with_a_second_factor_the_password_does_not_do_where_one_is_asked_again(
    here: Here, odile: Browser
) -> None:
    app = app_of(here.odile)
    asked = odile.open("/accounts/email/").goes_to
    assert asked == "/accounts/2fa/reauthenticate/?next=/accounts/email/"
    by_password = odile.client.post("/accounts/reauthenticate/", {"password": PASSWORD})
    assert "/2fa/reauthenticate/" in by_password["Location"]
    assert odile.open("/accounts/email/").status == 302
    assert odile.send(odile.open(asked).form("/2fa/reauthenticate/"), code=WRONG).status == 200
    assert odile.open("/accounts/email/").status == 302
    sent = odile.send(odile.open(asked).form("/2fa/reauthenticate/"), code=app.code())
    assert sent.goes_to == "/accounts/email/"
    assert odile.open("/accounts/email/").status == 200


GRAVE = [
    "/accounts/email/",
    "/accounts/password/change/",
    SET_UP,
    "/accounts/2fa/app/removal/",
    "/accounts/2fa/recovery-codes/",
    "/accounts/2fa/recovery-codes/new/",
    "/accounts/2fa/passkeys/new/",
]


@pytest.mark.parametrize("path", GRAVE)
def test_what_is_grave_is_asked_for_again_and_only_for_a_while(
    here: Here, odile: Browser, path: str, settings: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    if path != SET_UP:
        app_of(here.odile)
    for send in (odile.client.get, odile.client.post):
        answer = send(path)
        if answer.status_code != 405:
            assert answer.status_code == 302
            assert "reauthenticate/" in answer["Location"], answer["Location"]


def test_being_asked_again_lasts_five_minutes(here: Here, odile: Browser) -> None:
    odile.again()
    assert odile.open("/accounts/email/").status == 200
    session = odile.client.session
    for one in session["account_authentication_methods"]:
        one["at"] -= timedelta(seconds=301).total_seconds()
    session.save()
    assert odile.open("/accounts/email/").status == 302


def test_nothing_typed_waits_in_a_session_while_one_is_asked_again(
    here: Here, odile: Browser
) -> None:
    typed = {"oldpassword": PASSWORD, "password1": "nine-calm-coils"}
    odile.client.post("/accounts/password/change/", typed)
    kept = [str(one.get_decoded()) for one in Session.objects.all()]
    assert not [one for one in kept if "nine-calm-coils" in one or PASSWORD in one]


def test_removing_the_last_one_takes_the_recovery_codes_along(here: Here, odile: Browser) -> None:
    app = app_of(here.odile)
    odile.again(code=app.code())
    done = odile.fill("/accounts/2fa/app/removal/")
    assert done.goes_to == "/accounts/2fa/"
    assert "Off:" in odile.open("/accounts/2fa/").text
    assert not Authenticator.objects.exists()
    assert events(here.odile) == ["totp_removed"]


def test_new_recovery_codes_end_the_old(here: Here, odile: Browser) -> None:
    app = app_of(here.odile)
    odile.again(code=app.code())
    shown = odile.fill("/accounts/2fa/recovery-codes/new/").goes_to
    fresh = re.findall(r"\b\d{8}\b", odile.open(shown).text)
    assert len(fresh) == 10
    assert events(here.odile) == ["codes_made"]
    anyone = Browser()
    password_given(anyone, here.odile)
    assert "wrong" in anyone.fill(AUTHENTICATE, code=app.recovery[0]).text
    anyone.fill(AUTHENTICATE, code=fresh[0])
    assert is_in(anyone)


NO_PASSKEYS = [
    "1", "null", "[]", "{}", "{", "", '{"id": 1}',
    '{"id": "x", "rawId": "x", "response": {}}',
    '{"id": "x", "rawId": "!", "type": "public-key", "response": 7}',
]  # fmt: skip


@pytest.mark.parametrize("credential", NO_PASSKEYS)
def test_what_is_no_passkey_opens_nothing_and_breaks_nothing(
    here: Here, anyone: Browser, credential: str
) -> None:
    app = app_of(here.odile)
    password_given(anyone, here.odile)
    refused = anyone.client.post(AUTHENTICATE, {"credential": credential})
    assert refused.status_code == 200
    assert not is_in(anyone)
    odile = Browser(here.odile).again(code=app.code())
    for path in ("/accounts/2fa/passkeys/new/", "/accounts/2fa/passkeys/reauthenticate/"):
        answer = odile.client.post(path, {"credential": credential, "name": "Key"})
        assert answer.status_code in {200, 302}, path
    assert not Authenticator.objects.filter(type="webauthn").exists()


def test_a_keeper_without_one_is_led_to_set_it_up_where_the_operator_asks_for_it(
    here: Here, odile: Browser, settings: object
) -> None:
    settings.SECOND_FACTOR = "required"
    for path in ("/", "/account", "/animals", f"/collections/{here.collection.pk}", "/sales"):
        assert odile.open(path).goes_to == "/accounts/2fa/", path
    answer = odile.client.post("/collections/new", {"name": "Mine"})
    assert answer["Location"] == "/accounts/2fa/"
    set_up_an_app(odile)
    assert odile.open("/account").status == 200

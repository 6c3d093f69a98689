"""A device is approved on a page: the device authorization grant, RFC 8628."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from tests.api.client import Answer, Api
from tests.pages.browser import Browser
from tests.second_factors import app_of
from tests.world import World

from scalewitness.intake.accounts import reset_password
from scalewitness.intake.devices import sign_out_everywhere
from scalewitness.intake.erasure import close_account
from scalewitness.mail.models import Letter
from scalewitness.people.models import Device
from scalewitness.sign_in.models import DeviceRequest

pytestmark = pytest.mark.one_in(4)

GRANT = "urn:ietf:params:oauth:grant-type:device_code"
PAGE = "/devices/new"


def begun(nobody: Api, name: str = "Bench laptop") -> dict[str, Any]:
    answer = nobody.post("/devices/authorization", {"name": name})
    assert answer.status == 200
    return dict(answer.body)


def fetched(nobody: Api, code: str, after: int = 5) -> Answer:
    """Asked for after that many seconds more."""
    for row in DeviceRequest.objects.all():
        if row.polled_at:
            row.polled_at -= timedelta(seconds=after)
            row.save()
    return nobody.post("/devices/token", {"grant_type": GRANT, "device_code": code})


def let_in(browser: Browser, code: str, answer: str = "yes") -> Any:
    looked = browser.fill(PAGE, code=code)
    form = looked.form(PAGE)
    return browser.client.post(
        PAGE, {**{k: v[0] for k, v in form.values.items()}, "answer": answer}
    )


@pytest.fixture
def browser(world: World) -> Browser:
    return Browser(world.odile).again()


def test_the_members_are_those_of_the_standard(world: World, nobody: Api) -> None:
    said = begun(nobody)
    assert set(said) == {
        "device_code", "user_code", "verification_uri", "expires_in", "interval",
    }  # fmt: skip
    assert re.fullmatch(r"[BCDFGHJKLMNPQRSTVWXZ]{4}-[BCDFGHJKLMNPQRSTVWXZ]{4}", said["user_code"])
    assert said["verification_uri"] == f"http://testserver{PAGE}"
    assert (said["expires_in"], said["interval"]) == (600, 5)
    pending = fetched(nobody, said["device_code"])
    assert (pending.status, pending.code) == (400, "authorization_pending")
    assert pending.body["error"] == "authorization_pending"


def test_a_keeper_with_a_second_factor_lets_a_device_in(world: World, nobody: Api) -> None:
    app = app_of(world.odile)
    said, browser = begun(nobody), Browser(world.odile)
    assert browser.open(PAGE).goes_to.startswith("/accounts/2fa/reauthenticate/")
    browser.again(code=app.code())
    looked = browser.fill(PAGE, code=said["user_code"].lower().replace("-", " "))
    assert "Bench laptop" in looked.text
    assert nobody.address in looked.text
    assert "Asked" in looked.text
    assert let_in(browser, said["user_code"]).status_code == 302
    got = fetched(nobody, said["device_code"])
    assert got.status == 201
    nobody.headers["Authorization"] = f"Bearer {got.body['token']}"
    assert nobody.get("/keepers/me").body["id"] == str(world.odile.pk)
    (letter,) = Letter.objects.filter(kind="device_added")
    assert (letter.recipient, letter.context["device"]) == (world.odile.pk, "Bench laptop")


def test_the_token_is_given_once(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    let_in(browser, said["user_code"])
    assert fetched(nobody, said["device_code"]).status == 201
    assert fetched(nobody, said["device_code"]).code == "expired_token"
    assert Device.objects.filter(name="Bench laptop").count() == 1
    assert browser.fill(PAGE, code=said["user_code"]).status == 422, "nor does its code any more"


def test_a_device_that_is_refused_gets_nothing(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    let_in(browser, said["user_code"], "no")
    denied = fetched(nobody, said["device_code"])
    assert (denied.status, denied.code) == (400, "access_denied")
    assert browser.fill(PAGE, code=said["user_code"]).status == 422
    assert not Device.objects.filter(keeper=world.odile).exists()


def test_looking_is_not_letting_in(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    browser.fill(PAGE, code=said["user_code"])
    browser.client.get(PAGE, {"code": said["user_code"], "answer": "yes"})
    assert fetched(nobody, said["device_code"]).code == "authorization_pending"


def test_who_is_not_asked_again_lets_nothing_in(world: World, nobody: Api) -> None:
    said, unproved = begun(nobody), Browser(world.odile)
    sent = unproved.client.post(PAGE, {"code": said["user_code"], "answer": "yes"})
    assert "reauthenticate" in sent["Location"]
    assert fetched(nobody, said["device_code"]).code == "authorization_pending"
    assert (
        Browser()
        .client.post(PAGE, {"code": said["user_code"]})["Location"]
        .startswith("/accounts/login/")
    )


def test_the_first_answer_counts(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    let_in(browser, said["user_code"])
    stan = Browser(world.stan).again()
    assert stan.fill(PAGE, code=said["user_code"]).status == 422
    got = fetched(nobody, said["device_code"])
    assert Device.objects.get(pk=got.body["id"]).keeper == world.odile


def test_asking_too_often_makes_the_wait_longer(world: World, nobody: Api) -> None:
    code = begun(nobody)["device_code"]
    assert fetched(nobody, code).code == "authorization_pending"
    assert fetched(nobody, code, after=4).code == "slow_down"
    assert fetched(nobody, code, after=9).code == "slow_down", "ten seconds by now"
    assert fetched(nobody, code, after=16).code == "authorization_pending"


def test_it_is_over_after_ten_minutes(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    for row in DeviceRequest.objects.all():
        row.expires_at -= timedelta(seconds=601)
        row.save()
    assert fetched(nobody, said["device_code"]).code == "expired_token"
    assert browser.fill(PAGE, code=said["user_code"]).status == 422
    begun(nobody)
    assert DeviceRequest.objects.count() == 1, "and nothing is kept of it"


def test_neither_code_rests_in_the_database(world: World, nobody: Api) -> None:
    said = begun(nobody)
    with connection.cursor() as cursor:
        cursor.execute("SELECT r::text FROM sign_in_devicerequest r")
        (rests,) = cursor.fetchone()
    assert said["device_code"] not in rests
    assert said["user_code"] not in rests
    assert said["user_code"].replace("-", "") not in rests


def test_codes_cannot_be_tried_out(world: World, nobody: Api, browser: Browser) -> None:
    said = begun(nobody)
    for _ in range(10):
        assert browser.fill(PAGE, code="BBBB-BBBB").status == 422
    assert "Too many attempts. Wait ten minutes" in browser.fill(PAGE, code=said["user_code"]).text


def test_signing_out_everywhere_ends_what_was_let_in_and_has_not_come(
    world: World, nobody: Api, browser: Browser
) -> None:
    said = begun(nobody)
    let_in(browser, said["user_code"])
    sign_out_everywhere(world.odile, world.now)
    assert fetched(nobody, said["device_code"]).code == "expired_token"


def test_nor_does_it_come_after_a_new_password_by_letter(
    world: World, nobody: Api, browser: Browser
) -> None:
    said = begun(nobody)
    let_in(browser, said["user_code"])
    reset_password(world.odile, "nine-calm-coils", world.now)
    assert fetched(nobody, said["device_code"]).code == "expired_token"


def test_a_closed_account_lets_nothing_in(world: World, nobody: Api) -> None:
    said, browser = begun(nobody), Browser(world.stan).again()
    let_in(browser, said["user_code"])
    close_account(world.stan, world.now)
    assert fetched(nobody, said["device_code"]).code == "expired_token"
    assert not DeviceRequest.objects.exists()


def test_a_device_s_name_is_one_line(nobody: Api) -> None:
    refused = nobody.post("/devices/authorization", {"name": "a\u202eb"})
    assert (refused.status, refused.pointer) == (422, "/name")

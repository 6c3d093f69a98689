"""What a device put on record, for its keeper to look through once it is lost."""

from datetime import timedelta

import pytest
from tests.api.client import Api
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.signing import Phone, call, phone
from tests.world import probing

from scalewitness.animals.models import Animal
from scalewitness.intake.services import accept


@pytest.fixture
def animal(here: Here) -> Animal:
    return here.animal("R-01")


@pytest.fixture
def lost(here: Here, animal: Animal) -> Phone:
    """Odile's, from which a call came eight days ago and, unsigned, one five days ago."""
    made = phone(here, here.odile, name="The old phone")
    made.push(call(made, animal))
    here.pass_time(days=3)
    made.push(here.item("call_made", animal.pk, probing("female")))
    here.pass_time(days=5)
    return made


def test_each_entry_is_named_with_the_way_to_it(
    here: Here, odile: Browser, animal: Animal, lost: Phone
) -> None:
    other = phone(here, here.odile, name="Another")
    other.push(call(other, animal))
    account = odile.open("/account")
    path = f"/devices/{lost.device.pk}"
    assert f'href="{path}"' in account.html
    page = odile.open(path)
    signed, unsigned = page.text.count(" signed"), page.text.count("not signed")
    assert (unsigned, signed - unsigned) == (1, 2), "two calls, and the key before them"
    calls = [one for one in page.links if one.startswith("/calls/")]
    assert len(calls) == 2, "none of another device"
    assert f"/animals/{animal.pk}" in page.links
    assert all(odile.open(one).status == 200 for one in calls)
    since = (here.now - timedelta(days=6)).date()
    later = odile.open(f"{path}?since={since}")
    assert [one for one in later.links if one.startswith("/calls/")] == calls[:1]
    assert "Nothing since" in odile.open(f"{path}?since=2999-01-01").text
    assert odile.open(f"{path}?since=soon").status == 200


def test_a_device_cannot_say_that_it_sent_something_earlier(
    here: Here, odile: Browser, animal: Animal, lost: Phone
) -> None:
    body = probing("male")
    item = here.item("call_made", animal.pk, body, at=here.now - timedelta(days=90))
    accept([lost.key.signed(item)], lost.actor, here.now)
    since = (here.now - timedelta(days=1)).date()
    found = odile.open(f"/devices/{lost.device.pk}?since={since}")
    assert any(item["id"] in one for one in found.links)


def test_anothers_device_is_none(here: Here, greta: Browser, lost: Phone) -> None:
    assert greta.open(f"/devices/{lost.device.pk}").status == 404
    assert Api(here.greta).get(f"/devices/{lost.device.pk}/facts").status == 404


def test_over_the_api_a_revoked_one_is_told_of_too(here: Here, lost: Phone) -> None:
    other = phone(here, here.odile, name="Another")
    api = Api()
    api.headers["Authorization"] = f"Bearer {other.token}"
    assert api.delete(f"/devices/{lost.device.pk}").status == 204
    path = f"/devices/{lost.device.pk}/facts"
    first = api.get(path, limit=2)
    kinds = [one["kind"] for one in first.body["items"]]
    assert kinds == ["call_made", "call_made"], "the latest first"
    assert [one["signed"] for one in first.body["items"]] == [False, True]
    rest = api.get(path, limit=2, cursor=first.body["next"]).body
    assert [one["kind"] for one in rest["items"]][-1:] == ["device_key_enrolled"]
    since = first.body["items"][0]["received"]
    assert len(api.get(path, since=since).body["items"]) == 1

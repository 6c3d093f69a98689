"""What pages take of a recovery key: what its keeper's browser signed with it, and nothing else."""

import json
from typing import Any

import pytest
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.signing import Paper, Phone, paper, phone, rule

from scalewitness.people.models import DeviceKey
from scalewitness.people.queries.own_word import ruled

pytestmark = pytest.mark.one_in(6)


@pytest.fixture
def device(here: Here) -> Phone:
    made = phone(here, here.odile)
    assert made.send(rule(made)).status == "accepted"
    here.now_is_now()
    return made


@pytest.fixture
def printed(here: Here, device: Phone, odile: Browser) -> Paper:
    odile.again()
    return paper(here, here.odile, endorsed_by=device)


def state(odile: Browser, sheet: Paper, kind: str, **body: Any) -> Page:
    """As the browser fills the form in."""
    form = odile.open("/account/lost-devices").form("/account/recovery")
    about = {"about": str(sheet.keeper.pk), "kind": kind, "body": body}
    signed = sheet.key.signed({"id": form.values["id"][0], "at": form.values["at"][0], **about})
    typed = {"device": sheet.key.device, "sig": signed["sig"], "chosen": kind}
    return odile.send(form, **typed, stated=json.dumps(body))


def test_a_lost_device_is_revoked_and_the_rule_lifted(
    here: Here, odile: Browser, device: Phone, printed: Paper
) -> None:
    page = odile.open("/account/lost-devices")
    assert "is lost: revoke it" in page.text
    state(odile, printed, "device_revoked", device=str(device.device.pk))
    assert "It is revoked: it signs nothing any more." in odile.open("/account").text
    state(odile, printed, "signatures_required", required=False)
    assert not ruled(here.odile.pk, here.now).required


def test_a_sheet_that_nothing_endorsed_is_not_offered_and_states_nothing(
    here: Here, odile: Browser, printed: Paper
) -> None:
    strange = paper(here, here.odile)
    assert strange.send(strange.enrolment).status == "accepted"
    assert strange.key.public not in odile.open("/account/lost-devices").text
    state(odile, strange, "signatures_required", required=False)
    assert "Nothing but the password stands for" in odile.open("/account").text
    assert ruled(here.odile.pk, here.now).required


def test_a_signature_of_another_kind_or_device_is_none(
    here: Here, odile: Browser, device: Phone, printed: Paper
) -> None:
    for_device = Paper(here, here.odile, device.key)
    state(odile, for_device, "signatures_required", required=False)
    assert "The browser sent no signature." in odile.open("/account").text
    form = odile.open("/account/lost-devices").form("/account/recovery")
    odile.send(form, device=printed.key.device, chosen="signatures_required", sig="AAAA",
        stated='{"required": false}')  # fmt: skip
    assert ruled(here.odile.pk, here.now).required


def test_under_the_rule_no_page_ends_a_sheet(
    here: Here, odile: Browser, device: Phone, printed: Paper
) -> None:
    account = odile.open("/account")
    assert "scalewitness revoke-device" in account.text
    path = f"/devices/{printed.id}/revocation"
    assert path not in [one.action for one in account.forms]
    odile.client.post(path)
    assert "a recovery key ends on a device of yours" in odile.open("/account").text
    assert not hasattr(DeviceKey.objects.get(pk=printed.id), "end")


def test_who_has_no_device_is_told_to_sign_in_on_one(here: Here, odile: Browser) -> None:
    odile.again()
    assert "none of yours can" in odile.open("/account/recovery-key").text

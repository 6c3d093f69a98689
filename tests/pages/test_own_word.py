"""Pages of a keeper whose word takes a signature: nothing is taken, and nothing typed is lost."""

from base64 import b64decode

import msgspec
import pytest
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.pages.test_importing import bring
from tests.pages.test_methods import COMMON
from tests.pages.test_new_clutch import grid, register
from tests.signing import Phone, call, endorsing, phone, rule, stop

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.ledger.models import Entry, Text
from scalewitness.standings.queries.dossier import dossier
from scalewitness_cli.handover import Unsent

pytestmark = pytest.mark.one_in(6)

DATA = "data:application/json;base64,"


@pytest.fixture
def animal(here: Here) -> Animal:
    return here.animal("R-01")


@pytest.fixture
def device(here: Here, animal: Animal) -> Phone:
    """Odile's, on which she ruled once the animal was there."""
    made = phone(here, here.odile)
    assert made.send(rule(made)).status == "accepted"
    here.now_is_now()
    return made


def to_sign(page: Page) -> Unsent:
    """The file that the page offers, as the command reads it."""
    (address,) = [one for one in page.links if one.startswith(DATA)]
    return msgspec.json.decode(b64decode(address.removeprefix(DATA)), type=Unsent)


def signed(here: Here, device: Phone, file: Unsent) -> list[str]:
    """What becomes of it, signed as the command signs a file."""
    here.now_is_now()
    items = []
    for one in file.items:
        salted = {name: msgspec.to_builtins(text) for name, text in one.texts.items()}
        fact = {"id": one.id, "kind": one.kind, "at": one.at, "about": one.about, "body": one.body}
        items.append(device.key.signed(fact, texts=salted))
    return [one.status for one in device.push(*items)]


def test_a_call_typed_on_a_page_is_signed_on_a_device_instead(
    here: Here, odile: Browser, animal: Animal, device: Phone
) -> None:
    path = f"/animals/{animal.pk}/calls/new/visual"
    page = odile.fill(path, **COMMON, feature="spurs", note="calm while held")
    assert (page.status, Call.objects.count()) == (403, 0)
    assert "let this browser sign" in page.text
    assert page.form().values["note"] == ["calm while held"]
    file = to_sign(page)
    assert (file.keeper, [one.kind for one in file.items]) == (str(here.odile.pk), ["call_made"])
    assert signed(here, device, file) == ["accepted"]
    assert Text.objects.get(fact=Call.objects.get().pk).text == "calm while held"


def test_a_registration_is_kept_whole(here: Here, odile: Browser, device: Phone) -> None:
    typed = {"species": "python_regius", "scheme": "tag", "identifier": "LG-9", "name": "Fern"}
    page = odile.fill(f"/collections/{here.collection.pk}/animals/new", **typed)
    assert (page.status, Animal.objects.count()) == (403, 1)
    kinds = [one.kind for one in to_sign(page).items]
    assert kinds == ["animal_registered", "identifier_assigned"]
    assert signed(here, device, to_sign(page)) == ["accepted", "accepted"]


def test_a_clutch_is_kept_whole(here: Here, odile: Browser, animal: Animal, device: Phone) -> None:
    grown = grid(odile, here, dam=str(animal.pk), species="python_regius")
    page = register(odile, grown, y_0_name="Perrin")
    assert Animal.objects.count() == 1
    assert "let this browser sign" in page.text
    kinds = [one.kind for one in to_sign(page).items]
    assert set(kinds) == {"animal_registered", "identifier_assigned"}
    assert set(signed(here, device, to_sign(page))) == {"accepted"}


def test_no_list_is_stored_from_a_page(here: Here, odile: Browser, device: Phone) -> None:
    before = Entry.objects.count()
    page = bring(odile, here, "Tag;Species\nI-1;BP\n")
    assert Entry.objects.count() == before
    assert "A list is not stored from here." in page.text
    assert [one.action for one in page.forms if one.action.endswith("/storing")] == []


def test_a_device_is_signed_out_from_a_page(here: Here, odile: Browser, device: Phone) -> None:
    page = odile.open("/account")
    assert "Nothing counts in your name but what one of these devices signed." in page.text
    before = Entry.objects.count()
    odile.send(page.form(f"/devices/{device.device.pk}/revocation"))
    assert Entry.objects.count() == before, "its token ends; its key takes a signature to end"
    device.device.refresh_from_db()
    assert device.device.token is None


def test_that_all_devices_are_lost_is_said_once_and_shown(
    here: Here, odile: Browser, device: Phone
) -> None:
    odile.again()
    assert "/account/lost-devices" in odile.open("/account").links
    page = odile.open("/account/lost-devices")
    assert "Fourteen days later" in page.text
    odile.send(page.form("/account/lost-devices"))
    given = Entry.objects.get(kind="signing_notice_given")
    account = odile.open("/account").text
    assert "Notice was given that all your devices are lost." in account
    assert "require-signatures --stop-notice" in account
    assert "All devices lost?" not in account
    assert "You gave notice" in odile.open("/account/lost-devices").text
    here.now_is_now()
    assert device.send(stop(device, {"id": str(given.fact)})).status == "accepted"
    assert "Notice was given" not in odile.open("/account").text


def test_the_account_tells_keys_by_password_from_endorsed_ones(here: Here, odile: Browser) -> None:
    first, tablet = (phone(here, here.odile, name=name) for name in ("first", "tablet"))
    words = "none of your other devices has endorsed it"
    assert odile.open("/account").text.count(words) == 1
    first.send(endorsing(first, tablet))
    assert words not in odile.open("/account").text


def test_wherever_a_call_is_said_to_be_signed_it_says_by_what_key(
    here: Here, odile: Browser, animal: Animal
) -> None:
    """A buyer too is not to take a key for the keeper's that anybody with the password made."""
    first, tablet = (phone(here, here.odile, name=name) for name in ("first", "tablet"))
    first.send(call(first, animal))
    tablet.send(call(tablet, animal))
    weak = "Signed on the examiner's device: nothing but their password stands for its key."
    text = odile.open(f"/animals/{animal.pk}").text.replace("’", "'")
    assert text.count(weak) == 1
    assert text.count("Signed on the examiner's device.") == 1
    assert [one.by_password_only for one in dossier(animal).calls].count(True) == 1
    first.send(endorsing(first, tablet))
    assert weak not in odile.open(f"/animals/{animal.pk}").text.replace("’", "'")

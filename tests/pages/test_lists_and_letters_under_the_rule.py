"""Lists and invitations by letter once nothing counts in a keeper's name unsigned: signed, or
refused in words before anything is lost."""

import pytest
from django.core.cache import cache
from tests.api.client import Api
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.pages.signing import SigningBrowser
from tests.pages.test_importing import ANSWERS, answer, bring, store
from tests.pages.test_inviting import invite, letters
from tests.signing import phone, rule

from scalewitness.animals.models import Animal, Identifier
from scalewitness.domain.translog.devices import holds
from scalewitness.importing.models import Upload
from scalewitness.ledger.models import Entry
from scalewitness.ledger.queries.entries import leaf_of
from scalewitness.people.models import Keeper
from scalewitness.visits.models import InvitationByLetter, Visit
from scalewitness_cli.identity import fresh_id

pytestmark = pytest.mark.one_in(3)


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


def rules(here: Here, keeper: Keeper) -> None:
    made = phone(here, keeper)
    assert made.send(rule(made)).status == "accepted"
    here.now_is_now()


@pytest.fixture
def letter(here: Here, odile: Browser) -> str:
    """The page of Odile's invitation to Greta's address."""
    animal = here.animal("R-17")
    here.now_is_now()
    return invite(odile, here, animal, email=here.greta.email).goes_to


def accepted(letter: str, by: Keeper) -> Entry:
    visit = Visit.objects.get()
    assert letter.endswith(str(visit.pk))
    assert not InvitationByLetter.objects.exists()
    return Entry.objects.get(kind="visit_accepted", by=by.pk)


def test_whoever_takes_it_up_signs_it_in_the_browser(here: Here, letter: str) -> None:
    rules(here, here.greta)
    browser = SigningBrowser(here.greta).enrol()
    form, before = browser.open(letter).form("/acceptance"), Entry.objects.count()
    (fact,) = browser.to_sign(form)
    assert Entry.objects.count() == before, "asking states nothing, in the host's name neither"
    assert (fact["kind"], fact["body"]) == ("visit_accepted", {})
    assert letter.endswith(fact["about"])
    page = browser.send_signed(form)
    assert page.goes_to.startswith("/visits/")
    leaf = leaf_of(accepted(letter, here.greta))
    assert holds(leaf, bytes.fromhex(browser.key.public))


def test_unsigned_it_is_refused_in_words_and_waits(here: Here, letter: str, greta: Browser) -> None:
    rules(here, here.greta)
    before = Entry.objects.count()
    page = greta.send(greta.open(letter).form("/acceptance"))
    assert page.status == 403
    assert "let this browser sign" in page.text
    assert "to-sign.json" not in page.html, "no device could state it: there is no visit yet"
    assert Entry.objects.count() == before, "the host's half is not left alone"
    assert InvitationByLetter.objects.exists()


def test_over_the_api_its_fact_is_signed_too(here: Here, letter: str) -> None:
    device = phone(here, here.greta)
    assert device.send(rule(device)).status == "accepted"
    path = letter.replace("/visits/by-letter/", "/invitations/") + "/answer"
    api = Api()
    api.headers["Authorization"] = f"Bearer {device.token}"
    refused = api.post(path, {"accepted": True})
    assert (refused.status, refused.body["code"]) == (403, "signature_required")
    about = path.split("/")[-2]
    at = here.item("visit_accepted", here.greta.pk, {})["at"]
    fact = {"id": fresh_id(), "kind": "visit_accepted", "at": at, "about": about, "body": {}}
    signed = device.key.signed(fact)
    other = device.key.signed({**fact, "about": str(here.greta.pk)})
    sent = {"accepted": True, "id": fact["id"], "at": signed["at"]}
    assert api.post(path, sent | {"sig": other["sig"]}).body["code"] == "bad_signature"
    assert not Visit.objects.exists()
    assert api.post(path, sent | {"sig": signed["sig"]}).status == 201
    assert leaf_of(accepted(letter, here.greta)).sig == signed["sig"]


def test_a_host_who_signs_everything_writes_no_such_letter(
    here: Here, odile: Browser, greta: Browser, letter: str
) -> None:
    animal, before = Animal.objects.get(), len(letters())
    rules(here, here.odile)
    refused = invite(odile, here, animal, email="another@people.example")
    assert refused.status == 403
    assert "invite somebody by name" in refused.text
    assert len(letters()) == before
    shown = odile.open(letter)
    assert "It cannot be accepted." in shown.text
    assert "It cannot be accepted." not in greta.open(letter).text, "why is the host's"
    page = greta.send(greta.open(letter).form("/acceptance"))
    assert page.goes_to == "/visits"
    assert "holds no longer" in greta.open("/visits").text
    assert InvitationByLetter.objects.exists(), "its host can still read of it"


@pytest.fixture
def looked_at(here: Here, odile: Browser) -> Page:
    here.now_is_now()
    return answer(odile, bring(odile, here), **ANSWERS)


def test_a_list_is_looked_through_and_none_of_it_stored(here: Here, odile: Browser) -> None:
    here.now_is_now()
    rules(here, here.odile)
    assert "A list is not stored from here." in odile.open("/import").text
    page = answer(odile, bring(odile, here), **ANSWERS)
    assert "scalewitness import FILE" in page.text
    assert "3 will be stored" in page.text
    assert not [one for one in page.forms if one.action.endswith("/storing")]


def test_a_list_confirmed_before_the_rule_loses_no_line(
    here: Here, odile: Browser, looked_at: Page
) -> None:
    rules(here, here.odile)
    page = store(odile, looked_at)
    assert "it takes a signature" in page.text
    assert not Identifier.objects.exists()
    upload = Upload.objects.get()
    assert (upload.stored, upload.refused) == ([], {}), "no line is told to be wrong"
    assert "3 will be stored" in page.text

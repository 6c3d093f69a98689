"""Receipts on pages: offered where something was accepted, read in words, taken as a file."""

import pytest
import segno
from django.conf import settings
from django.db import connection
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id, probing

from scalewitness.disclosures.models import Disclosure
from scalewitness.domain.translog.keys import read_signer
from scalewitness.domain.translog.receipts import Proven, prove, read_receipt
from scalewitness.ledger.models import Entry
from scalewitness.pages.parts.qr import qr
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(6)


def proven(page: Page) -> Proven:
    """What the downloaded file shows to whoever holds the log's public key."""
    assert page.status == 200
    assert page.response["Content-Type"] == "text/plain; charset=utf-8"
    assert page.response["Content-Disposition"].startswith('attachment; filename="scalewitness-')
    log = read_signer(settings.LOG_SIGNING_KEY).verifier
    return prove(read_receipt(page.response.content), log)


def linked(page: Page, ending: str = "") -> list[str]:
    return [one for one in page.links if "/receipts/" in one and one.endswith(ending)]


@told_once
def fallen(here: Here) -> Sale:
    """Bela bought a verified male; a blind stranger then found a female."""
    sale = here.sold(here.verified("R-17"))
    here.pass_time(days=1)
    animal = sale.animals.get()
    here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
    here.now_is_now()
    return sale


def test_an_accepted_call_leads_to_its_receipt(here: Here, greta: Browser) -> None:
    animal = here.animal("R-17")
    visit = here.visit(here.greta, animal)
    call = here.call(here.greta, animal, "male", visit=visit)
    here.now_is_now()
    accepted = greta.open(f"/calls/{call.id}")
    path = f"/receipts/{call.id}"
    assert path in accepted.links
    page = greta.open(path)
    assert page.status == 200
    for said in (
        f"Receipt of entry {call.position}",
        "Call made, stated by Greta Lund",
        "does not prove",
        "That the statement is true",
        "scalewitness verify",
        "1 signature: the log’s own",
        str(read_signer(settings.LOG_SIGNING_KEY).verifier),
        "Conclusion male",
        "Observed, passes 2, depth 9",
        "tag",
        f"http://testserver{path}",
    ):
        assert said in page.text, said
    assert ("svg", "img") in [(tag, given.get("role")) for tag, given in page.tags]
    (file,) = linked(page, "/file")
    found = proven(greta.open(file))
    assert (found.position, found.entry.id) == (call.position, call.id)


def test_free_text_stays_out_of_the_entry_and_the_page_says_so(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    body = probing("male", "R-17")
    call = here.say(here.odile, "call_made", animal.pk, body, texts={"note": "Held by Pim."})
    here.now_is_now()
    page = odile.open(f"/receipts/{call.id}")
    assert "the entry holds its fingerprint" in page.text
    assert "Held by Pim" not in page.html


def test_the_history_leads_to_every_receipt_one_may_have(
    here: Here, odile: Browser, greta: Browser
) -> None:
    dam, young = here.animal("D-1"), here.animal("Y-1")
    body = {"species": "python_regius", "dam": str(dam.pk)}
    here.say(here.odile, "particulars_corrected", young.pk, body)
    visit = here.visit(here.greta, dam, young, days=60)
    here.call(here.greta, young, "male", visit=visit)
    here.now_is_now()
    every = Entry.objects.filter(about=young.pk)
    path = f"/animals/{young.pk}/history"
    assert len(linked(odile.open(path))) == every.count() == 6
    seen = linked(greta.open(path))
    telling = every.get(kind="particulars_corrected").fact
    assert f"/receipts/{telling}" not in seen
    assert greta.open(f"/receipts/{telling}").status == 404
    assert {greta.open(one).status for one in seen} == {200}
    assert len(seen) == 5


def test_a_blind_guest_is_shown_none(here: Here, greta: Browser) -> None:
    animal = here.verified("R-17")
    here.visit(here.greta, animal, days=60)
    here.now_is_now()
    for one in Entry.objects.filter(about=animal.pk):
        for path in (f"/receipts/{one.fact}", f"/receipts/{one.fact}/file"):
            assert greta.open(path).status == 404
    missing = greta.open(f"/receipts/{new_id()}")
    assert missing.html == greta.open(f"/receipts/{one.fact}").html


def test_the_next_page_after_a_plain_fact_leads_to_its_receipt(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    here.now_is_now()
    sent = odile.fill(f"/animals/{animal.pk}/husbandry/weight", grams="400")
    after = odile.open(sent.goes_to)
    assert "Accepted at position 7. Receipt" in after.text
    (path,) = linked(after)
    assert "Husbandry noted" in odile.open(path).text


def test_a_buyer_gets_receipts_of_the_offer_the_calls_and_their_answer(
    here: Here, anyone: Browser
) -> None:
    animal = here.verified("R-21", "female")
    here.now_is_now()
    sale = here.draft(animal)
    here.offer(sale)
    path = f"/offers/{here.token(sale)}"
    page = anyone.open(path)
    receipts = linked(page)
    assert len(receipts) == 5  # the offer, the standing it was made on, three calls
    kinds = set()
    for one in receipts:
        shown = anyone.open(one)
        assert shown.status == 200
        assert "Guest R-21" not in shown.html
        assert "so do not pass it on" in shown.text
        assert shown.response["Referrer-Policy"] == "no-referrer"
        (file,) = linked(shown, "/file")
        kinds.add(proven(anyone.open(file)).entry.kind)
    assert kinds == {"offer_made", "standing_changed", "call_made"}
    anyone.fill(path, "/confirmation", statement="I rely on a verified female.")
    confirmed = Entry.objects.get(kind="sale_confirmed")
    mine = f"{path}/receipts/{confirmed.fact}"
    assert mine in anyone.open(path).links
    assert "Sale confirmed, stated by you" in anyone.open(mine).text
    registered = Entry.objects.filter(about=animal.pk, kind="animal_registered")[0]
    assert anyone.open(f"{path}/receipts/{registered.fact}").status == 404


def test_a_disclosure_leads_to_its_receipt_for_both_sides(
    here: Here, anyone: Browser, odile: Browser, fallen: Sale
) -> None:
    owed = Entry.objects.get(kind="disclosure_owed")
    path = f"/offers/{here.token(fallen, 'disclosure')}"
    page = anyone.open(path)
    assert f"{path}/receipts/{owed.fact}" in page.links
    assert "stated by the record itself" in anyone.open(f"{path}/receipts/{owed.fact}").text
    anyone.send(page.form("/acknowledgement/" + str(Disclosure.objects.get().pk)))
    read = Entry.objects.get(kind="disclosure_acknowledged")
    assert f"{path}/receipts/{read.fact}" in anyone.open(path).links
    kept = odile.open(f"/disclosures/{owed.about}")
    assert linked(kept) == [f"/receipts/{read.fact}", f"/receipts/{owed.fact}"]
    assert {odile.open(one).status for one in linked(kept)} == {200}


def test_the_sale_leads_to_the_receipt_of_every_step(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    page = odile.open(f"/sales/{fallen.pk}")
    steps = {f"/receipts/{one.pk}" for one in fallen.steps.all()}
    assert set(linked(page)) == steps
    assert {odile.open(one).status for one in steps} == {200}


def test_a_log_that_cannot_be_signed_gives_out_none_and_says_so(
    here: Here, anyone: Browser, odile: Browser, fallen: Sale
) -> None:
    step = fallen.steps.get(kind="offer_made")
    odile.open(f"/receipts/{step.pk}")
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE ledger_entry DISABLE TRIGGER ALL")
        cursor.execute("UPDATE ledger_entry SET leaf = 'x' WHERE position = %s", [step.position])
        cursor.execute("ALTER TABLE ledger_entry ENABLE TRIGGER ALL")
    link = f"/offers/{here.token(fallen, 'disclosure')}/receipts/{step.pk}"
    for who, path in ((odile, f"/receipts/{step.pk}"), (anyone, link)):
        for one in (path, f"{path}/file"):
            page = who.open(one)
            assert page.status == 503
            assert "does not continue what was signed before" in page.text


def test_the_code_draws_the_address_dark_on_light_with_a_quiet_zone() -> None:
    address = "https://record.example/receipts/01890000-0000-7000-8000-00000000fac7"
    drawn = qr(address)
    size = segno.make(address, error="m", micro=False).symbol_size(border=4)[0]
    assert f'viewBox="0 0 {size} {size}"' in drawn
    assert "style=" not in drawn
    assert '<path fill="#fff"' in drawn

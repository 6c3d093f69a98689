"""A verified sex falls: who is told, who sees what, and how it is settled."""

from datetime import timedelta
from hashlib import sha256
from uuid import UUID

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection, edit
from scalewitness.disclosures.models import Acknowledgement, Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.mail.models import Letter
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device, name_practitioner
from scalewitness.sales.models import Sale

pytestmark = pytest.mark.one_in(6)


@told_once
def fallen(here: Here) -> Sale:
    """Bela bought a verified male; a blind stranger then found a female."""
    animal = here.verified("R-17")
    here.name(animal, "Vesper")
    sale = here.sold(animal)
    here.pass_time(days=1)
    here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
    assert here.label(animal) == "contested"
    here.now_is_now()
    return sale


def dispute_path() -> str:
    return f"/disputes/{Dispute.objects.get().pk}"


@pytest.mark.one_in(1)
def test_the_link_shows_both_versions_and_takes_the_acknowledgement_once(
    here: Here, anyone: Browser, odile: Browser, fallen: Sale
) -> None:
    path = f"/offers/{here.token(fallen, 'disclosure')}"
    page = anyone.open(path)
    for said in (
        "What you were told has changed",
        "What was represented",
        "Verified male".lower(),
        "What the record says now",
        "contested",
        "That does not mean it is wrong",
        "One call by itself speaks strongly for the other sex",
        "Have the animal rechecked by someone independent",
        "the price is refunded",
        here.odile.email,
        "local consumer law come first",
        "can change again",
    ):
        assert said.lower() in page.text.lower(), said
    assert "Stan Okoro" not in page.html
    owed = Disclosure.objects.get()
    form = page.form(f"/acknowledgement/{owed.pk}")
    assert [anyone.send(form).status for _ in range(2)] == [302, 302]
    assert Acknowledgement.objects.count() == 1
    assert "You confirmed that you have read this" in anyone.open(path).text
    assert "acknowledged" in odile.open("/disclosures").text
    assert "not yet acknowledged" not in odile.open("/disclosures").text


def test_the_seller_sees_delivery_and_cannot_acknowledge(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    owed = Disclosure.objects.get()
    path = f"/disclosures/{owed.pk}"
    assert "Waiting to be sent" in odile.open(path).text
    Letter.objects.filter(kind="disclosure").update(state="failed", last_error="550 no such user")
    page = odile.open(path)
    assert "The letter did not reach them" in page.text
    assert "550 no such user" in page.text
    assert "A letter did not reach" in odile.open("/").text
    assert not page.forms
    refused = odile.client.post(f"{path}/acknowledgement", {"id": str(owed.pk), "at": "x"})
    assert refused.status_code != 302
    assert not Acknowledgement.objects.exists()


def test_the_seller_reads_the_letter_and_not_the_buyers_way_in(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    owed = Disclosure.objects.get()
    page = odile.open(f"/disclosures/{owed.pk}/letter")
    for said in ("WHAT WAS REPRESENTED TO YOU", "verified male", "(your buyer’s own link)"):
        assert said in page.text, said
    for purpose in ("offer", "disclosure"):
        assert here.token(fallen, purpose) not in page.html
    assert "/offers/" not in page.html
    assert not page.forms


def test_a_buyer_who_is_a_keeper_acknowledges_when_signed_in(here: Here, stan: Browser) -> None:
    animal = here.verified("R-17")
    here.sold(animal, email=here.stan.email)
    here.pass_time(days=1)
    here.call(here.greta, animal, "female", visit=here.visit(here.greta, animal))
    here.now_is_now()
    owed = Disclosure.objects.get()
    assert "What you were told has changed" in stan.open("/").text
    done = stan.fill(f"/disclosures/{owed.pk}", "/acknowledgement")
    assert done.goes_to == f"/disclosures/{owed.pk}"
    assert Acknowledgement.objects.filter(disclosure=owed).exists()


@pytest.mark.one_in(1)
def test_no_one_else_sees_a_disclosure(here: Here, greta: Browser, fallen: Sale) -> None:
    assert greta.open(f"/disclosures/{Disclosure.objects.get().pk}").status == 404
    assert "Vesper" not in greta.open("/disclosures").html


def test_the_dispute_shows_evidence_in_time_order_who_knew_what_and_letters(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    page = odile.open(dispute_path())
    who = ["Odile Marten", "Guest R-17", "Fenna Holt", "Stan Okoro"]
    table = page.text[page.text.index("The same as a list") :]
    found = [table.index(one) for one in who]
    assert found == sorted(found, reverse=True), "the newest first"
    for said in (
        "Knew no earlier answer",
        "No earlier answer was on record",
        "has a share in the animal",
        "speaks strongly for a female",
        "The call most likely wrong Probing by Stan Okoro",
        "Disclosure to a buyer",
        "Dispute opened, to a keeper",
        "waiting to be sent",
    ):
        assert said in page.text, said
    assert "bela@buyers.example" not in page.html


def test_a_dispute_says_whose_the_interest_is_in_a_reported_check(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    vet = new_id(here.now)
    name_practitioner(here.odile, vet, "Dr Ilse Brandt")
    reported = {"role": "veterinarian", "who": str(vet)}
    here.call(here.odile, fallen.animals.get(), "male", body={"reported": reported})
    text = odile.open(dispute_path()).text
    row = text[text.index("Dr Ilse Brandt") :]
    assert "reported at second hand, by someone with a share in the animal" in row
    assert "Said to have been told no earlier answer" in row
    assert text.count("No earlier answer was on record; has a share in the animal") == 1


def test_a_finding_without_grounds_is_refused_and_keeps_what_was_typed(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    animal = Animal.objects.get()
    contrary = animal.calls.get(by=here.stan.pk)
    refused = odile.fill(
        dispute_path(),
        "/finding",
        outcome="call_set_aside",
        set_aside=[str(contrary.pk)],
        remedy="none",
        reasons="Stan was in a hurry.",
    )
    assert refused.status == 403
    assert "Only a later blind check" in refused.text
    kept = refused.form("/finding").values
    assert kept["reasons"] == ["Stan was in a hurry."]
    assert kept["set_aside"] == [str(contrary.pk)]


CLAIM = "The seller says that both sides agree; the buyer has not confirmed it."


@pytest.fixture
def claimed(here: Here, odile: Browser, fallen: Sale) -> str:
    """Odile says that both sides agree to set Stan's call aside; the buyer's page of it."""
    animal = fallen.animals.get()
    shallow = {"sureness": "unsure", "observed": probing("undetermined")["observed"]}
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal), body=shallow)
    form = odile.open(dispute_path()).form("/finding")
    typed: dict[str, str | list[str]] = {
        "outcome": "call_set_aside",
        "set_aside": [str(animal.calls.get(by=here.stan.pk).pk)],
        "remedy": "recheck",
        "basis": "agreement",
        "reasons": "Greta read nine scales on both sides.",
    }
    assert [odile.send(form, **typed).status for _ in range(2)] == [302, 302]
    return f"/offers/{here.token(fallen, 'disclosure')}/animals/{animal.pk}/problem"


def test_what_a_seller_says_of_the_buyer_is_shown_as_their_word(
    here: Here, odile: Browser, anyone: Browser, claimed: str
) -> None:
    page = odile.open(dispute_path())
    for said in (CLAIM, "it counts until somebody else agrees", "Recorded by the seller"):
        assert said in page.text, said
    assert not [one for one in page.forms if "/answer" in one.action], "their own finding"
    assert here.label(Animal.objects.get()) == "contested"
    page = anyone.open(claimed)
    for said in (CLAIM, "Greta read nine scales", "Proposed to be set aside"):
        assert said in page.text, said
    assert "Stan Okoro" not in page.html
    assert anyone.send(page.form("/answer"), agrees="no").status == 302
    assert "; the buyer denies it." in odile.open(dispute_path()).text


@pytest.mark.one_in(1)
def test_the_call_is_set_aside_and_the_sex_restored_once_the_buyer_agrees(
    here: Here, odile: Browser, anyone: Browser, claimed: str, fallen: Sale
) -> None:
    animal = Animal.objects.get()
    answer = anyone.open(claimed).form("/answer")
    assert [anyone.send(answer, agrees="yes").status for _ in range(2)] == [302, 302]
    page = odile.open(dispute_path())
    assert "Both sides agree; the buyer has confirmed it." in page.text
    assert "A call is set aside: it stays on record" in page.text
    assert "set aside" in odile.open(f"/animals/{animal.pk}").text
    assert here.label(animal) == "verified male"
    told = anyone.open(f"/offers/{here.token(fallen, 'disclosure')}").text
    assert "The verified sex stands again." in told
    assert "The verified sex no longer stands." in told, "both notices stay"
    assert "settled" in odile.open("/disputes").text


def test_a_keeper_may_open_a_dispute(here: Here, odile: Browser) -> None:
    animal = here.verified("R-50")
    here.now_is_now()
    opened = odile.fill(f"/animals/{animal.pk}/disputes/new", note="I doubt it.")
    assert UUID(opened.goes_to.rpartition("/")[2]) == Dispute.objects.get().pk
    assert "A party objects" in odile.open(opened.goes_to).text


def test_a_viewer_reads_a_dispute_and_cannot_settle_it(
    here: Here, greta: Browser, odile: Browser, fallen: Sale
) -> None:
    viewer = {"to": str(here.greta.pk), "role": "viewer"}
    here.say(here.odile, "grant_given", here.collection.pk, viewer)
    assert greta.open(dispute_path()).status == 200
    assert not greta.open(dispute_path()).forms
    examiners = {link for link in greta.open(dispute_path()).links if "/examiners/" in link}
    assert len(examiners) == 4, "everyone with a call on the animal"
    assert {greta.open(link).status for link in examiners} == {200}
    typed = {"outcome": "calls_stand", "remedy": "none", "reasons": "I say so."}
    form = odile.open(dispute_path()).form("/finding")
    assert greta.send(form, **typed).status == 404
    assert not hasattr(Dispute.objects.get(), "finding")


def test_the_board_puts_first_what_most_hangs_on(here: Here, odile: Browser) -> None:
    quiet, sold = here.verified("Q-1"), here.verified("Q-2")
    for animal, name in ((quiet, "Fern"), (sold, "Bracken")):
        here.name(animal, name)
    here.sold(sold)
    here.pass_time(days=1)
    for animal in (sold, quiet):
        here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
        if animal == quiet:
            objection = {"animal": str(animal.pk), "ground": "party_objects"}
            here.say(here.odile, "dispute_opened", new_id(), objection)
    here.now_is_now()
    text = odile.open("/disputes").text
    assert text.index("Bracken") < text.index("Fern"), "though it was opened earlier"
    assert "1 buyer relies on it, 1 disclosure is not acknowledged" in text


def test_a_finding_on_a_veterinarians_report_keeps_its_fingerprint_alone(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    report = b"%PDF-1.7 endoscopy: testes seen"
    form = odile.open(dispute_path()).form("/finding")
    sent = form.values | {
        "outcome": "calls_stand",
        "remedy": "none",
        "basis": "veterinarian",
        "reasons": "See the report.",
        "report": SimpleUploadedFile("report.pdf", report, "application/pdf"),
    }
    assert odile.client.post(form.action, sent).status_code == 302
    finding = Dispute.objects.get().finding
    assert (finding.basis, finding.document) == ("veterinarian", sha256(report).hexdigest())
    page = odile.open(dispute_path())
    assert "The seller says that it is a veterinarian’s." in page.text
    assert "Recorded by the seller" in page.text
    assert sha256(report).hexdigest() in page.text


@told_once
def gone(here: Here) -> Here:
    """Sold to Stan, who keeps it by now; then it turns out otherwise."""
    animal = here.verified("R-30")
    here.name(animal, "Barnaby")
    shelf = create_collection(here.stan, new_id(here.now), "Stan's shelf", here.now)
    sale = here.draft(animal, email=here.stan.email)
    here.offer(sale)
    confirmed = here.item("sale_confirmed", sale.pk, here.look(sale))
    accept_one(confirmed, Actor(keeper=here.stan.pk), here.now)
    for step in ("payment_recorded", "handed_over"):
        here.say(here.odile, step, sale.pk)
    move = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    here.say(here.odile, "custody_changed", animal.pk, move)
    animal.refresh_from_db()
    edit(animal, {"name": "Lady Stanhope"}, version=animal.version, by=here.stan, now=here.now)
    here.pass_time(days=1)
    visit = invite(here, here.greta, animal)
    here.call(here.greta, animal, "female", visit=visit)
    texts = {"statement": "She laid eggs with me."}
    about = Dispute.objects.get().pk
    here.say(here.stan, "statement_made", about, {}, texts=texts)
    here.now_is_now()
    return here


def invite(here: Here, guest: Keeper, animal: Animal) -> UUID:
    """Stan has somebody check it blind."""
    visit = new_id(here.now)
    body = {"collection": str(animal.collection_id), "guest": str(guest.pk), "blind": True}
    body |= {"animals": [str(animal.pk)], "opens": rfc3339(here.now)}
    body |= {"closes": rfc3339(here.now + timedelta(days=2))}
    here.say(here.stan, "visit_invited", visit, body)
    here.say(guest, "visit_accepted", visit)
    return visit


def test_a_seller_answers_after_the_animal_has_gone(gone: Here, odile: Browser) -> None:
    """They read what the parties say; the animal, its name and the checks of it are its
    keeper's to show now."""
    for path in ("/disputes", "/sales", "/disclosures", dispute_path()):
        assert "Barnaby, ball python" in odile.open(path).text, "as they called it"
    page = odile.open(dispute_path())
    assert page.status == 200
    assert "She laid eggs with me." in page.text
    for secret in ("Lady Stanhope", "Greta Lund", "Contested", "The evidence"):
        assert secret not in page.text
        assert secret not in odile.open("/disputes").text
        assert secret not in odile.open("/sales").text
    said = odile.send(page.form("/statement"), statement="He was probed by three.")
    assert said.goes_to == dispute_path()
    assert "He was probed by three." in odile.open(dispute_path()).text
    for paper in ("dossier.pdf", "dossier.zip"):
        assert odile.open(f"{dispute_path()}/{paper}").status == 404


def test_its_keeper_still_sees_the_whole_dispute(gone: Here, stan: Browser) -> None:
    page = stan.open(dispute_path())
    assert "Lady Stanhope" in page.text
    assert "Greta Lund" in page.text


def test_a_seller_who_is_to_check_it_blind_is_told_nothing(gone: Here, odile: Browser) -> None:
    invite(gone, gone.odile, Dispute.objects.get().animal)
    assert odile.open(dispute_path()).status == 404
    assert "There is none" in odile.open("/disputes").text


def test_no_letter_tells_a_party_what_a_later_keeper_calls_it(gone: Here) -> None:
    kinds = ("standing_notice", "dispute_opened")
    told = Letter.objects.filter(to=gone.odile.email, kind__in=kinds)
    assert told.count() == 2
    assert {one.context["animal"]["name"] for one in told} == {"Barnaby"}, "as it left them"


def test_the_api_shows_a_seller_the_matter_without_the_animal(gone: Here) -> None:
    _, token = enrol_device(gone.odile, "phone", gone.now)
    client = Client(headers={"authorization": f"Bearer {token}"})
    shown = client.get(f"/api/v1{dispute_path()}").json()
    assert (shown["standing"], shown["evidence"], shown["letters"]) == (None, [], [])
    assert shown["animal"]["name"] is None
    assert [one["text"] for one in shown["statements"]] == ["She laid eggs with me."]
    (listed,) = client.get("/api/v1/disputes").json()["items"]
    assert listed["animal"]["name"] is None


def test_every_link_of_a_dispute_opens_for_whoever_is_shown_it(
    here: Here, odile: Browser, greta: Browser, fallen: Sale
) -> None:
    """Its keeper, a partner, a viewer, whom it could name as arbiter, and a guest of before."""
    here.make_partner(here.pim)
    here.view(here.greta, Animal.objects.get())
    for who in (odile, Browser(here.pim), greta):
        page = who.open(dispute_path())
        assert page.status == 200
        for link in sorted(set(page.links)):
            if link.startswith("/"):
                assert who.open(link).status in {200, 302}, link
    assert Browser(here.stan).open(dispute_path()).status == 404, "his visit is over"


def test_the_seller_of_an_animal_that_left_can_follow_every_link(
    gone: Here, odile: Browser
) -> None:
    page = odile.open(dispute_path())
    for link in sorted(set(page.links)):
        if link.startswith("/"):
            assert odile.open(link).status in {200, 302}, link


def test_the_two_sides_stand_apart_each_with_its_calls_and_its_sign(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    text = odile.open(dispute_path()).text
    female, male = text.index("Says female"), text.index("Says male")
    lanes = text.index("Who knew what when")
    assert female < male < lanes
    for who in ("Odile Marten", "Guest R-17", "Fenna Holt"):
        assert who in text[male:lanes]
        assert who not in text[female:male]
    assert "Stan Okoro" in text[female:male]
    assert "If only these counted: probable female" in text[female:male]
    assert "If only these counted: verified male" in text[male:lanes]


def test_lanes_tell_who_was_told_what_by_letter_and_name_no_buyer(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    def lanes() -> str:
        text = odile.open(dispute_path()).text
        return text[text.index("Who knew what when") :]

    assert "by letter" not in lanes(), "none has left"
    Letter.objects.update(state="sent", sent_at=here.now)
    for said in (
        "The buyer, by letter: told that it is no longer verified male.",
        "Odile Marten, by letter: told that it is no longer verified male.",
        "Stan Okoro, call d: Probing, female. Knew no earlier answer.",
        "The record says contested. It was verified male until then.",
        "The dispute was opened.",
    ):
        assert said in lanes(), said
    assert "Bela" not in odile.open(dispute_path()).html
    here.view(here.greta, Animal.objects.get())
    seen = Browser(here.greta).open(dispute_path()).text
    assert "Keepers, by letter: told that it is no longer verified male." in seen
    assert "Odile Marten, by letter" not in seen, "its keepers alone read who was written to"


def offered(page: Page) -> set[str]:
    return {str(one["value"]) for tag, one in page.tags if tag == "input" and "value" in one} | {
        str(one["value"]) for tag, one in page.tags if tag == "option"
    }


def test_only_calls_are_offered_to_be_set_aside_that_intake_would_set_aside(
    here: Here, odile: Browser, fallen: Sale
) -> None:
    animal = fallen.animals.get()
    contrary = str(animal.calls.get(by=here.stan.pk).pk)
    others = {str(one.pk) for one in animal.calls.exclude(by=here.stan.pk)}
    assert others | {"call_set_aside"} <= offered(odile.open(dispute_path()))
    assert contrary not in offered(odile.open(dispute_path())), "nothing contradicts it yet"
    shallow = {"sureness": "unsure", "observed": probing("undetermined")["observed"]}
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal), body=shallow)
    assert contrary in offered(odile.open(dispute_path()))


def test_an_outcome_that_would_be_refused_is_not_offered(here: Here, odile: Browser) -> None:
    """Nothing contradicts a call, there is no other side, and nobody could be named."""
    animal = here.verified("R-50")
    here.now_is_now()
    path = odile.fill(f"/animals/{animal.pk}/disputes/new", note="I doubt it.").goes_to
    page = odile.open(path)
    assert "No call can be set aside yet" in page.text
    assert "calls_stand" in offered(page)
    assert not {"call_set_aside", "agreement", "arbiter"} & offered(page)
    assert "arbiter" not in page.form("/finding").names
    here.view(here.greta, animal)
    assert "arbiter" in offered(odile.open(path))

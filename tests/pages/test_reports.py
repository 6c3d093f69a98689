"""What a report says of itself: to whom it names, by a link or with an account, to those who
confirm it, and to a buyer."""

import re
from datetime import timedelta

import pytest
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from tests.intake.test_reports import DOCUMENT, eggs, endoscopy
from tests.pages.browser import Browser
from tests.pages.test_papers import fetched, text_of
from tests.world import World, keeper, new_id

from scalewitness.animals.models import Animal
from scalewitness.calls.queries.reports import report_of
from scalewitness.ledger.models import Entry
from scalewitness.letters.reports import ask_practitioners
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.models import Practitioner, PractitionerLink
from scalewitness.people.services import enter_address, name_practitioner

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]
PRACTICE = "desk@practice.example"


@pytest.fixture
def named(world: World) -> Practitioner:
    cache.clear()  # of wrong links tried by others
    world.now = timezone.now()
    return name_practitioner(world.odile, new_id(world.now), "Dr Ilse Brandt")


@pytest.fixture
def animal(world: World, named: Practitioner) -> Animal:
    found = world.animal("R1")
    endoscopy(world, found, named, document=DOCUMENT)
    return found


def enter(named: Practitioner, email: str = PRACTICE) -> None:
    call_command("enter_practice", str(named.pk), email)


def asked() -> list[Letter]:
    return list(Letter.objects.filter(kind="report_to_answer").order_by("created_at"))


def link_in(letter: Letter) -> str:
    found = re.search(r"http://testserver(/reports/by-link/\S+)", str(compose(letter).body))
    assert found
    return found[1]


def report(animal: Animal) -> str:
    return report_of(animal.calls.get())


def test_the_practice_is_written_to_reads_and_confirms_without_an_account(
    named: Practitioner, animal: Animal
) -> None:
    enter(named)
    (letter,) = asked()
    assert letter.to == PRACTICE
    message = compose(letter)
    for word in ("male", "testes", "R1"):
        assert word not in f"{message.subject} {message.body}", "its reader may be a blind guest"
    path, visitor = link_in(letter), Browser()
    page = visitor.open(path)
    assert "Odile Marten" in page.text
    assert "concluded male" in page.text
    form = visitor.open(next(one for one in page.links if one.startswith(f"{path}/")))
    visitor.send(form.form(), answer="confirmed", note="On the third, under sedation.")
    assert report(animal) == "confirmed"
    assert "You said that you made it." in visitor.open(path).text
    said = Entry.objects.get(kind="report_answered")
    assert said.by == named.pk
    assert PRACTICE.encode() not in bytes(said.leaf)


def test_a_denial_by_link_is_told(world: World, named: Practitioner, animal: Animal) -> None:
    enter(named)
    path, call = link_in(asked()[0]), animal.calls.get().pk
    visitor = Browser()
    visitor.fill(f"{path}/{call}", answer="denied", note="It was another snake.")
    assert report(animal) == "denied"
    assert Letter.objects.filter(kind="report_answered", to=world.odile.email).exists()
    shown = Browser(world.odile).open(f"/animals/{animal.pk}").text
    assert "Whoever it names says that they did not make this call." in shown
    assert "It was another snake." in shown


def test_one_letter_a_day_whatever_comes(world: World, named: Practitioner, animal: Animal) -> None:
    now = timezone.now()
    assert ask_practitioners(now) == 0, "nobody looked up where they are asked"
    enter(named)
    assert len(asked()) == 1
    for number in range(3):
        endoscopy(world, world.animal(f"N{number}"), named)
    assert ask_practitioners(now + timedelta(hours=23)) == 0
    assert ask_practitioners(now + timedelta(hours=25)) == 1
    assert asked()[1].context["count"] == 3, "what the first was about is not asked twice"
    assert ask_practitioners(now + timedelta(days=3)) == 0


def test_many_reports_take_no_more_questions_than_one(
    world: World,
    named: Practitioner,
    animal: Animal,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    enter(named)
    path, visitor = link_in(asked()[0]), Browser()
    with CaptureQueriesContext(connection) as few:
        visitor.open(path)
    for number in range(12):
        endoscopy(world, world.animal(f"N{number}"), named)
    with django_assert_max_num_queries(len(few)):
        assert visitor.open(path).text.count("concluded male") == 13


def test_links_end_with_their_time_with_a_newer_address_and_with_the_name(
    named: Practitioner, animal: Animal
) -> None:
    enter(named)
    first, visitor = link_in(asked()[0]), Browser()
    assert visitor.client.get(first).status_code == 200
    assert visitor.client.get(f"{first[:-3]}xyz").status_code == 404
    enter(named, "other@practice.example")
    assert visitor.client.get(first).status_code == 404
    second = link_in(asked()[1])
    PractitionerLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert visitor.client.get(second).status_code == 404
    call_command("erase", "practitioner", str(named.pk))
    assert not PractitionerLink.objects.exists()
    assert {one.to for one in asked()}.isdisjoint({PRACTICE, "other@practice.example"})


def test_a_blind_guest_at_that_address_reads_nothing_by_their_link(
    world: World, named: Practitioner, animal: Animal
) -> None:
    vet = keeper("Ilse Brandt")
    enter(named, vet.email)
    path, call = link_in(asked()[0]), animal.calls.get().pk
    visit = world.visit(vet, animal)
    for browser, list_, one in (
        (Browser(), path, f"{path}/{call}"),
        (Browser(vet), "/reports", f"/reports/{call}"),
    ):
        browser.client.raise_request_exception = False
        assert "concluded" not in browser.open(list_).text
        assert browser.client.get(one).status_code == 404
    world.call(vet, animal, "male", visit=visit)
    assert "concluded male" in Browser().open(path).text


def test_whoever_was_to_buy_it_does_not_confirm_it_by_link(
    world: World, named: Practitioner, animal: Animal
) -> None:
    world.draft(animal, email=PRACTICE.title())
    enter(named)
    path, visitor = link_in(asked()[0]), Browser()
    visitor.client.raise_request_exception = False
    form = visitor.open(f"{path}/{animal.calls.get().pk}")
    refused = visitor.send(form.form(), answer="confirmed")
    assert "share in this animal" in refused.text
    assert report(animal) == "unconfirmed"


def test_with_an_account_one_answers_on_a_page_of_one_s_own(
    named: Practitioner, animal: Animal
) -> None:
    vet = keeper("Ilse Brandt")
    enter(named, vet.email)
    hers = Browser(vet)
    assert f"/reports/{animal.calls.get().pk}" in hers.open("/").links
    form = hers.open(f"/reports/{animal.calls.get().pk}")
    assert "counts as your own call" in form.text
    hers.send(form.form(), answer="confirmed")
    assert report(animal) == "confirmed"
    assert f"/reports/{animal.calls.get().pk}" not in hers.open("/").links


def test_it_is_told_before_it_answers_what_makes_its_answer_count(
    world: World, named: Practitioner, animal: Animal
) -> None:
    """At an address that the sender gave; then two keepers state whose account it is."""
    vet = keeper("Ilse Brandt")
    enter_address(named, vet.email, new_id(world.now), world.now, world.odile)
    page = f"/reports/{animal.calls.get().pk}"
    unknown = Browser(vet).open(page).text
    assert "it stays their word" in unknown
    assert "two keepers whose word counts here" in unknown
    for who in (world.stan, world.fenna):
        world.say(who, "keeper_vouched", vet.pk, {"practice": "veterinarian"})
    assert "it counts as your own call" in Browser(vet).open(page).text


def test_the_card_says_whose_word_it_is_and_leads_to_what_confirms_it(
    world: World, animal: Animal
) -> None:
    call = animal.calls.get().pk
    world.view(world.stan, animal)
    his = Browser(world.stan)
    card = his.open(f"/animals/{animal.pk}")
    assert "sender's word: nobody without a share in it has confirmed it" in card.text
    assert f"/calls/{call}/document" in card.links
    assert f"/calls/{call}/witness" not in card.links
    own = Browser(world.odile).open(f"/animals/{animal.pk}")
    assert f"/calls/{call}/document" not in own.links
    form = his.open(f"/calls/{call}/document")
    assert DOCUMENT in form.text
    his.send(form.form())
    assert report(animal) == "confirmed"
    card = his.open(f"/animals/{animal.pk}")
    assert "read the report it is taken from" in card.text
    assert f"/calls/{call}/document" not in card.links


def test_the_fingerprint_of_a_written_report_is_given_with_the_call(
    world: World, named: Practitioner
) -> None:
    animal, hers = world.animal("R2"), Browser(world.odile)
    path, typed = (
        f"/animals/{animal.pk}/calls/new/endoscopy",
        {
            "seen": "testes",
            "post_mortem": "no",
            "conclusion": "male",
            "sureness": "certain",
            "identified_by": "appearance",
            "held_by": "sedated",
            "told": "no",
            "reported_role": "veterinarian",
            "reported_name": named.name,
        },
    )
    wrong = hers.fill(path, **typed, document="a scan of it")
    assert "A fingerprint has 64 hexadecimal digits." in wrong.text
    assert hers.fill(path, **typed, document=f" {DOCUMENT.upper()}").status == 302
    assert animal.calls.get().body["document"] == DOCUMENT


def test_a_witness_says_so_and_a_keeper_with_a_share_reads_why_not(world: World) -> None:
    world.now = timezone.now()
    animal = world.animal("R2")
    call = eggs(world, world.odile, animal)
    world.make_partner(world.pim)
    hers = Browser(world.pim)
    hers.client.raise_request_exception = False
    refused = hers.fill(f"/calls/{call}/witness")
    assert "keeps animals with them, cannot confirm it" in refused.text
    world.view(world.stan, animal)
    his = Browser(world.stan)
    his.fill(f"/calls/{call}/witness")
    assert report(animal) == "confirmed"


def test_a_witness_chooses_among_registered_young_and_withdraws_it(world: World) -> None:
    animal = world.animal("R2")
    call = eggs(world, world.odile, animal)
    path = f"/calls/{call}/witness"
    world.view(world.stan, animal)
    his = Browser(world.stan)
    assert "registered as its young" not in his.open(path).text
    world.now = timezone.now()
    hatched = world.now.date().isoformat()
    young = world.animal("H1", dam=str(animal.pk), hatched=hatched)
    world.animal("H2", dam=str(animal.pk), hatched=hatched)
    world.view(world.stan, young)
    page = his.open(path)
    assert "H1, registered as its young" in page.text
    assert "H2, registered" not in page.text, "he may not see that one"
    his.send(page.form(), young=str(young.pk))
    card = his.open(f"/animals/{animal.pk}")
    assert "saw young that are registered as this animal's" in card.text
    assert f"{path}/withdraw" in card.links
    assert f"{path}/withdraw" not in Browser(world.odile).open(f"/animals/{animal.pk}").links
    his.fill(f"{path}/withdraw", note="It was another clutch.")
    card = his.open(f"/animals/{animal.pk}")
    assert "sender's word again: whoever had confirmed it withdrew that" in card.text
    assert f"{path}/withdraw" not in card.links


def test_the_record_on_paper_says_whose_word_it_is(world: World, animal: Animal) -> None:
    paper = fetched(Browser(world.odile), f"/animals/{animal.pk}/record.pdf")
    assert "nobody without a share in it has confirmed it" in text_of(paper)


def test_a_buyer_reads_whose_word_it_is(world: World, named: Practitioner, animal: Animal) -> None:
    sale = world.draft(animal)
    world.offer(sale)
    offer = Letter.objects.get(kind="offer")
    found = re.search(r"http://testserver(/offers/[^\s/]+)\s", str(compose(offer).body))
    assert found
    text = Browser().open(found[1]).text
    assert "sender's word: nobody without a share in it has confirmed it" in text
    assert "Brandt" not in text

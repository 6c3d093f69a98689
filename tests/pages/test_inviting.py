"""Inviting to a visit: by name or by letter, by days or by the minute."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core.cache import cache
from django.utils import timezone
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.world import World, keeper

from scalewitness.animals.models import Animal
from scalewitness.intake.invitations import MOST_A_DAY
from scalewitness.ledger.queries.tree import tip
from scalewitness.letters.visits import MOST_TO_ONE
from scalewitness.mail.models import Letter
from scalewitness.mail.services.composing import compose
from scalewitness.people.services import vouch
from scalewitness.visits.models import InvitationByLetter, Visit
from scalewitness.visits.tasks import forget_invitations

pytestmark = pytest.mark.one_in(6)

NOBODY = "new.keeper@people.example"


@pytest.fixture(autouse=True)
def nothing_counted() -> None:
    cache.clear()


@pytest.fixture
def snake(here: Here) -> Animal:
    animal = here.animal("R-17")
    here.now_is_now()
    return animal


def invite(odile: Browser, here: Here, *animals: Animal, **typed: str) -> Page:
    path = f"/collections/{here.collection.pk}/visits/new"
    return odile.fill(path, animals=[str(one.pk) for one in animals], **typed)


def letters() -> "list[Letter]":
    return list(Letter.objects.filter(kind__startswith="visit_").order_by("created_at"))


def test_who_is_known_is_invited_by_name(here: Here, odile: Browser, snake: Animal) -> None:
    here.make_partner(here.pim)
    here.invite(here.greta, snake)
    page = odile.open(f"/collections/{here.collection.pk}/visits/new")
    known = {given.get("value") for _, given in page.tags if given.get("name") == "guest"}
    assert known == {"", str(here.greta.pk)}, "neither partners nor strangers"
    assert "Greta Lund" in page.text
    sent = odile.send(page.form(), guest=str(here.greta.pk), animals=[str(snake.pk)])
    visit = Visit.objects.order_by("-position")[0]
    assert (sent.goes_to, visit.guest) == (f"/visits/{visit.pk}", here.greta)
    stranger = odile.client.post(page.path, {**page.form().values, "guest": str(here.stan.pk)})
    assert stranger.status_code == 422


def test_whoever_merely_invited_somebody_is_not_offered_to_them(
    here: Here, odile: Browser, snake: Animal
) -> None:
    """Anybody may invite anybody, under the name of a friend of theirs."""
    people = {"odile": here.stan, "pim": here.pim, "greta": here.greta, "stan": here.odile}
    theirs = World(house="Next Door", **people)
    theirs.now = here.now
    visit = theirs.invite(here.odile, theirs.animal("S-1"))
    path = f"/collections/{here.collection.pk}/visits/new"
    assert str(here.stan.pk) not in odile.open(path).html
    here.say(here.odile, "visit_accepted", visit)
    page = odile.open(path)
    assert str(here.stan.pk) in page.html
    assert f"host, {here.now:%b %Y}" in page.text


def test_days_are_the_hosts_own(here: Here, odile: Browser, snake: Animal) -> None:
    odile.fill("/account", "/habits", time_zone="Europe/Berlin")
    days = {"first": "2027-01-09", "begins": "noon", "last": "2027-01-12"}
    invite(odile, here, snake, email=NOBODY, ends="evening", **days)
    invite(odile, here, snake, email=NOBODY, ends="noon", **days)
    whole, half = InvitationByLetter.objects.order_by("invited_at")
    assert whole.opens == datetime(2027, 1, 9, 11, tzinfo=UTC)
    assert whole.closes == datetime(2027, 1, 12, 23, tzinfo=UTC)
    assert half.closes == datetime(2027, 1, 12, 11, tzinfo=UTC)
    backwards = invite(odile, here, snake, email=NOBODY, first="2027-01-09", last="2027-01-02")
    assert backwards.status == 422
    assert "A visit closes after it opens" in backwards.text


@pytest.mark.one_in(1)
def test_whoever_has_no_account_is_invited_as_whoever_has_one(
    here: Here, odile: Browser, snake: Animal
) -> None:
    size, told = tip().size, []
    for email in (NOBODY, here.greta.email):
        sent = invite(odile, here, snake, email=email)
        told.append((odile.open(sent.goes_to), odile.open("/visits"), odile.open("/")))
    plain = [
        [page.text.replace(email, "ADDRESS") for page in pages[:1]]
        for email, pages in zip((NOBODY, here.greta.email), told, strict=True)
    ]
    assert plain[0] == plain[1]
    for page in told[1][1:]:
        assert page.text.count(NOBODY) == page.text.count(here.greta.email) == 1
        assert "Greta Lund" not in page.text
    assert tip().size == size, "nothing of it is in the log"
    first, second = (compose(one) for one in letters())
    assert (first.subject, first.to, second.to) == (second.subject, [NOBODY], [here.greta.email])
    assert "Odile Marten invites you to check one snake" in first.subject
    assert "make one there" in str(first.body)


def test_an_invitation_by_letter_becomes_a_visit_when_it_is_accepted(
    here: Here, odile: Browser, greta: Browser, snake: Animal
) -> None:
    path = invite(odile, here, snake, email=here.greta.email.upper()).goes_to
    assert "You are invited to a check" in greta.open("/").text
    page = greta.open(path)
    assert "Odile Marten invites you to check 1 snake" in page.text
    assert "R-17" not in page.html
    sheet = greta.send(page.form("/acceptance")).goes_to
    visit = Visit.objects.get()
    assert (visit.host, visit.guest, visit.blind) == (here.odile, here.greta, True)
    assert sheet == f"/visits/{visit.pk}"
    assert "Open the sheet" in greta.open(sheet).text
    assert letters() == [], "none asks again, and the one that came is not kept"
    assert not InvitationByLetter.objects.exists()
    assert greta.open(path).status == 404
    assert "Greta Lund checks your animals" in odile.open("/visits").text


def test_it_waits_for_whoever_makes_an_account(here: Here, odile: Browser, snake: Animal) -> None:
    path = invite(odile, here, snake, email="nora.new@keepers.example").goes_to
    anyone = Browser()
    assert anyone.open(path).goes_to == f"/accounts/login/?next={path}"
    nora = keeper("Nora New", verified=False)
    browser = Browser(nora)
    assert browser.open(path).status == 404, "the address is not proved yet"
    assert "invited" not in browser.open("/").text
    vouch(nora.email)
    assert "You are invited to a check" in browser.open("/").text
    assert Browser(here.stan).open(path).status == 404
    browser.send(browser.open(path).form("/acceptance"))
    assert Visit.objects.get().guest == nora


def test_it_is_declined_or_withdrawn(
    here: Here, odile: Browser, greta: Browser, snake: Animal
) -> None:
    path = invite(odile, here, snake, email=here.greta.email).goes_to
    greta.send(greta.open(path).form("/refusal"))
    assert greta.open(path).status == 404
    assert "Your invitation by letter was declined" in odile.open("/").text
    odile.send(odile.open(path).form("/cancellation"))
    assert not InvitationByLetter.objects.exists()
    path = invite(odile, here, snake, email=here.greta.email).goes_to
    form = greta.open(path).form("/acceptance")
    odile.send(odile.open(path).form("/cancellation"))
    assert greta.client.post(form.action).status_code == 404
    assert not Visit.objects.exists()


def test_what_no_visit_could_be_is_refused_at_once(here: Here, odile: Browser) -> None:
    bare = here.animal("R-18")
    here.say(here.odile, "identifier_withdrawn", bare.pk, {"scheme": "tag", "code": "R-18"})
    here.now_is_now()
    refused = invite(odile, here, bare, email=NOBODY)
    assert refused.status == 422
    assert "names are hidden" in refused.text
    assert invite(odile, here, bare).status == 422, "nobody is invited"
    assert letters() == []


def test_a_host_who_keeps_the_animals_no_more_invites_nobody(
    here: Here, odile: Browser, greta: Browser, snake: Animal
) -> None:
    path = invite(odile, here, snake, email=here.greta.email).goes_to
    InvitationByLetter.objects.update(host=here.stan)
    page = greta.open(path)
    assert greta.send(page.form("/acceptance")).goes_to == "/visits"
    assert "holds no longer" in greta.open("/visits").text
    assert not Visit.objects.exists()


def test_letters_are_few_to_an_address_and_from_a_host(
    here: Here, odile: Browser, snake: Animal
) -> None:
    most, _ = MOST_TO_ONE[0]
    sent = [invite(odile, here, snake, email=NOBODY) for _ in range(most + 1)]
    assert {one.status for one in sent} == {302}, "the host is answered alike"
    assert len(letters()) == most
    told = ["No letter goes there" in odile.open(one.goes_to).text for one in sent]
    assert told == [False] * most + [True], "and reads that nobody was written to"
    for number in range(MOST_A_DAY - len(sent)):
        assert invite(odile, here, snake, email=f"p{number}@people.example").status == 302
    refused = invite(odile, here, snake, email="one.more@people.example")
    assert "You invited 20 people by letter today" in refused.text


def test_the_same_form_twice_is_one_invitation(here: Here, odile: Browser, snake: Animal) -> None:
    form = odile.open(f"/collections/{here.collection.pk}/visits/new").form()
    for _ in range(2):
        odile.send(form, email=NOBODY, animals=[str(snake.pk)])
    assert InvitationByLetter.objects.count() == len(letters()) == 1


def test_addresses_of_those_who_never_answer_are_not_kept(
    here: Here, odile: Browser, snake: Animal
) -> None:
    invite(odile, here, snake, email=NOBODY)
    assert forget_invitations() == 0
    InvitationByLetter.objects.update(closes=timezone.now() - timedelta(seconds=1))
    assert NOBODY not in odile.open("/visits").text
    assert forget_invitations() == 1
    invite(odile, here, snake, email=NOBODY, first="2126-01-01", last="2126-01-02")
    assert forget_invitations() == 0
    InvitationByLetter.objects.update(invited_at=timezone.now() - timedelta(days=367))
    assert forget_invitations() == 1, "a year typed wrongly keeps no address for a hundred"

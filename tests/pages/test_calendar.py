"""The season as it happens: noted on pages, shown as a calendar, followed by a calendar program."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from tests.domain.season.test_icalendar import read
from tests.intake import test_season_notes as season_notes
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.breeding.models import SeasonNote
from scalewitness.people.models import Keeper

pytestmark = pytest.mark.one_in(6)


def paired(here: Here, sire: Animal, dam: Animal) -> UUID:
    return season_notes.paired(here, sire, dam, timezone.now().year)


def noted(here: Here, pairing: UUID, what: str, *, ago: int, who: Any = None, **more: Any) -> str:
    here.now = timezone.now()
    body = {"what": what, "on": str(ago_day(ago)), **more}
    outcome = here.push(who or here.odile, here.item("season_noted", pairing, body))[0]
    assert outcome.status == "accepted", outcome.problem
    return str(outcome.id)


def ago_day(days: int) -> date:
    return timezone.now().date() - timedelta(days=days)


def a_link(browser: Browser) -> str:
    """As the keeper copies it from the page."""
    browser.client.post("/calendar/link", {"do": "make"})
    html = browser.open("/calendar").html
    return html.split('value="http://testserver')[1].split('"')[0]


def test_what_is_seen_is_noted_and_what_comes_next_is_shown_with_its_reasons(
    here: Here, odile: Browser
) -> None:
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    here.now_is_now()
    assert f"/pairings/{pairing}/season" in odile.open("/pairings").html
    form = f"/pairings/{pairing}/notes/new?what=shed_before_laying"
    assert "no check at all" in odile.open(form).text, "what matters for her stands beside it"
    sent = odile.fill(form, on=str(ago_day(30)))
    assert sent.goes_to == f"/pairings/{pairing}/season"
    page = odile.open(sent.goes_to)
    assert "Shed before laying" in page.text
    assert "28 to 50 days (web page: enviroliteracy.org" in page.text
    assert "4 to 15 eggs at once, 8.1 on average (published: Gorzula" in page.text
    assert "<svg" in page.html
    calendar = odile.open("/calendar")
    assert "Due this week" in calendar.text
    assert f"/pairings/{pairing}/season" in calendar.html.split('id="all"')[0], "it is due"
    today = odile.open("/")
    assert "Due this week" in today.text
    withdrawn = odile.send(page.form("/withdrawal"))
    assert withdrawn.goes_to == f"/pairings/{pairing}/season"
    assert "No date can be reckoned" in odile.open(withdrawn.goes_to).text
    assert "Due this week" not in odile.open("/").text


def test_eggs_are_counted_and_a_wrong_day_stays_in_the_form(here: Here, odile: Browser) -> None:
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    here.now_is_now()
    form = f"/pairings/{pairing}/notes/new?what=laid"
    refused = odile.fill(form, on="2019-03-01", good="6", slugs="1")
    assert refused.status == 422
    assert "far from the season" in refused.text
    assert 'value="6"' in refused.html
    odile.fill(form, on=str(ago_day(3)), good="6", slugs="1")
    note = SeasonNote.objects.get()
    assert (note.what, note.on, note.counted) == ("laid", ago_day(3), {"good": 6, "slugs": 1})


def test_a_live_bearer_is_offered_a_birth_and_a_ball_python_eggs(
    here: Here, odile: Browser
) -> None:
    boa, ball = (
        paired(here, *(here.animal(f"{sex}-{n}", species=kind) for sex in "MF"))
        for n, kind in enumerate(("boa_imperator", "python_regius"))
    )
    here.now_is_now()
    offered = {one: odile.open(f"/pairings/{one}/season").html for one in (boa, ball)}
    assert ("what=born" in offered[boa], "what=laid" in offered[boa]) == (True, False)
    assert ("what=born" in offered[ball], "what=laid" in offered[ball]) == (False, True)
    warned = odile.open(f"/pairings/{ball}/notes/new?what=put_together").text
    assert "Females are bred from 1,200 g and 27 months on (common practice" in warned
    assert odile.open(f"/pairings/{ball}/notes/new?what=nonsense").status == 404


def test_outcomes_lead_to_the_forms_that_state_what_they_prove(here: Here, odile: Browser) -> None:
    """Filled in, and nothing of it is stated twice: a note is evidence of nothing."""
    sire, dam = here.animal("M-1"), here.animal("F-1")
    pairing = paired(here, sire, dam)
    noted(here, pairing, "laid", ago=61, good=6, slugs=1)
    noted(here, pairing, "hatched", ago=1, young=5, dead_in_shell=1)
    assert not dam.calls.exists()
    html = odile.open(f"/pairings/{pairing}/season").html
    assert "A parentage test of the young proves a father" in html
    links = [one.split('"')[0].replace("&amp;", "&") for one in html.split('<a href="')]
    (call,) = (one for one in links if "/calls/new/reproduction" in one)
    shown = odile.open(call).html
    assert 'value="7"' in shown
    (clutch,) = (one for one in links if "/clutches/new" in one)
    form = odile.open(clutch)
    assert f'value="{ago_day(1)}"' in form.html
    grid = odile.fill(clutch, pattern="LG-##", first="1")
    assert "LG-05" in grid.html
    assert "LG-06" not in grid.html
    here.now = timezone.now()
    eggs = {"method": "reproduction", "event": "laid_eggs", "witnessed": True, "count": 7}
    at = here.now - timedelta(days=60)
    here.call(here.odile, dam, "female", body={"observed": eggs}, at=at)
    body = {"hatched": str(ago_day(1)), "dam": str(dam.pk), "sire": str(sire.pk)}
    here.animal("LG-01", **body)
    again = odile.open(f"/pairings/{pairing}/season").html
    assert "/calls/new/reproduction" not in again
    assert "/clutches/new" not in again


def test_two_keepers_of_one_laying_are_shown_to_differ(here: Here, odile: Browser) -> None:
    here.make_partner(here.pim)
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    noted(here, pairing, "laid", ago=3, good=6)
    noted(here, pairing, "laid", ago=2, good=7, who=here.pim)
    text = odile.open(f"/pairings/{pairing}/season").text
    assert "What was noted of one event differs" in text
    assert "by Pim Alder" in text
    assert "clutch 2" not in text


@pytest.mark.parametrize(("ago", "told"), [(54, "Due this week"), (70, "Late by"), (126, "")])
def test_what_is_late_is_said_for_a_time_and_then_no_more(
    here: Here, odile: Browser, ago: int, told: str
) -> None:
    """55 to 65 days from the eggs to the young, and 60 more."""
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    noted(here, pairing, "laid", ago=ago, good=6)
    today = odile.open("/").text
    found = [one for one in ("Due this week", "Late by") if one in today]
    assert found == ([told] if told else [])
    assert ("Late: its window is over." in odile.open("/calendar").text) == (told == "Late by")


@pytest.fixture
def terrace(here: Here) -> Collection:
    return create_collection(here.stan, new_id(here.now), "Terrace", here.now)


def look(here: Here, who: Keeper, room: Collection) -> None:
    here.say(room.keeper, "grant_given", room.pk, {"to": str(who.pk), "role": "viewer"})


def test_whoever_sees_only_one_of_them_reads_their_own_notes_and_no_dates(
    here: Here, odile: Browser, stan: Browser, terrace: Collection
) -> None:
    his = here.animal("S-1", room=terrace)
    look(here, here.odile, terrace)
    pairing = paired(here, here.animal("M-1"), his)
    noted(here, pairing, "ovulation", ago=20)
    noted(here, pairing, "apart", ago=5, who=here.stan)
    path = f"/pairings/{pairing}/season"
    assert "Ovulation seen" in odile.open(path).text
    assert "Eggs: " in odile.open(path).text
    assert read(odile.client.get(a_link(odile)).content)[1] == [], "she lays in his room"
    text = stan.open(path).text
    assert "Apart" in text
    assert "by Odile" not in text
    assert "nothing is reckoned here" in text
    assert "M-1" not in text


def test_a_blind_guest_meets_no_season_anywhere(
    here: Here, stan: Browser, terrace: Collection
) -> None:
    """Not even with the mate of what they are to check in their own room."""
    own, his = here.animal("M-1"), here.animal("S-1", room=terrace)
    look(here, here.odile, terrace)
    pairing = paired(here, own, his)
    noted(here, pairing, "shed_before_laying", ago=30, who=here.stan)
    link = a_link(stan)
    assert "S-1" in stan.open("/calendar").text
    here.visit(here.stan, own)
    for path in ("/calendar", "/pairings", "/"):
        assert "S-1" not in stan.open(path).text, path
    assert stan.open(f"/pairings/{pairing}/season").status == 404
    assert read(stan.client.get(link).content)[1] == []


# --- the calendar link ------------------------------------------------------------------


def test_a_calendar_program_gets_codes_and_due_dates_and_nothing_else(
    here: Here, odile: Browser, anyone: Browser
) -> None:
    sire = here.animal("M-1", traits=["pied"])
    dam = here.animal("F-1; tub 3, left", traits=["clown"])
    here.name(dam, "Fern the female")
    pairing = paired(here, sire, dam)
    noted(here, pairing, "shed_before_laying", ago=30)
    answer = anyone.client.get(a_link(odile))
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    _, events = read(answer.content)
    assert [one["SUMMARY"] for one in events] == ["F-1; tub 3, left: due"] * 2
    starts = [one["DTSTART;VALUE=DATE"] for one in events]
    assert starts == [f"{ago_day(30 - days):%Y%m%d}" for days in (28, 83)]
    told = answer.content.decode().replace("\r\n ", "").lower()
    for word in ("fern", "m-1", "pied", "clown", "female", "male", "laid", "egg", "hatch", "shed"):
        assert word not in told, word
    assert str(pairing) not in told


def test_an_entry_stays_the_same_one_and_moves_with_its_window(
    here: Here, odile: Browser, anyone: Browser
) -> None:
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    wrong = noted(here, pairing, "shed_before_laying", ago=30)
    here.now_is_now()
    link = a_link(odile)
    before = read(anyone.client.get(link).content)[1]
    assert before == read(anyone.client.get(link).content)[1]
    here.pass_time(minutes=1)
    here.say(here.odile, "season_note_withdrawn", pairing, {"noted": wrong})
    noted(here, pairing, "shed_before_laying", ago=20)
    after = read(anyone.client.get(link).content)[1]
    assert [one["UID"] for one in after] == [one["UID"] for one in before]
    assert after[0]["DTSTART;VALUE=DATE"] != before[0]["DTSTART;VALUE=DATE"]
    assert after[0]["DTSTAMP"] > before[0]["DTSTAMP"]


def test_a_revoked_link_opens_nothing_and_a_new_one_ends_the_one_before(
    here: Here, odile: Browser, anyone: Browser
) -> None:
    here.now_is_now()
    first = a_link(odile)
    assert anyone.client.get(first).status_code == 200
    second = a_link(odile)
    assert anyone.client.get(first).status_code == 404
    assert anyone.client.get(second).status_code == 200
    odile.client.post("/calendar/link", {"do": "end"})
    gone = anyone.client.get(second)
    made_up = anyone.client.get(f"{second[:-8]}xxxx.ics")
    assert (gone.status_code, gone.content) == (404, made_up.content)
    assert "by-link" not in odile.open("/calendar").html


def test_a_partner_whose_access_ended_follows_it_no_more(here: Here, anyone: Browser) -> None:
    grant = here.make_partner(here.pim)
    pairing = paired(here, here.animal("M-1"), here.animal("F-1"))
    noted(here, pairing, "shed_before_laying", ago=30)
    link = a_link(Browser(here.pim))
    assert len(read(anyone.client.get(link).content)[1]) == 2
    here.say(here.odile, "grant_revoked", here.collection.pk, {"grant": str(grant)})
    assert read(anyone.client.get(link).content)[1] == []


def test_sixty_pairings_ask_no_more_of_the_database_than_three(here: Here, odile: Browser) -> None:
    asked = []
    for count in (3, 60):
        while SeasonNote.objects.count() < count:
            number = SeasonNote.objects.count()
            pairing = paired(here, here.animal(f"M-{number}"), here.animal(f"F-{number}"))
            noted(here, pairing, "shed_before_laying", ago=30)
        odile.open("/calendar")
        with CaptureQueriesContext(connection) as queries:
            text = odile.open("/calendar").text
        asked.append(len(queries))
        assert f"F-{count - 1}" in text, "all that is due stands at the top"
    assert asked[1] == asked[0]

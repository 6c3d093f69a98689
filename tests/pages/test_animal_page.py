"""An animal's page: the answer first, what would settle it, and one next step."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.pages.browser import Browser
from tests.pages.conftest import Here

pytestmark = pytest.mark.one_in(6)


def first_button(html: str) -> str:
    found = re.search(r'<a class="button"[^>]*>([^<]*)</a>', html)
    return found[1] if found else ""


def test_the_answer_comes_first_and_the_next_step_beneath_it(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    here.now_is_now()
    assert first_button(odile.open(f"/animals/{animal.pk}").html) == "Log a call"
    here.call(here.odile, animal, "male")
    page = odile.open(f"/animals/{animal.pk}")
    assert first_button(page.html) == "Invite someone to check it blind"
    order = ['class="trail"', "<h1", 'class="label"', 'class="button"', "<figure", 'class="calls"']
    places = [page.html.index(one) for one in order]
    assert places == sorted(places)
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal))
    assert first_button(odile.open(f"/animals/{animal.pk}").html) == "Note its weight"


def test_actions_stand_in_groups_for_its_keeper_alone(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    here.now_is_now()
    groups = r'<details name="tasks"><summary>([^<]*)</summary>'
    found = re.findall(groups, odile.open(f"/animals/{animal.pk}").html)
    assert found == ["Check", "Care", "Breed", "Sell", "Object"]
    here.view(here.stan, animal)
    page = Browser(here.stan).open(f"/animals/{animal.pk}")
    assert page.status == 200
    assert re.findall(groups, page.html) == []
    assert first_button(page.html) == ""


def test_what_is_missing_is_one_line(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    here.call(here.odile, animal, "male")
    text = odile.open(f"/animals/{animal.pk}").text
    assert (
        len(re.findall(r"Verified needs 99 in 100, it has \d\d; and 95 read strictly", text)) == 1
    )
    assert "not certain enough" not in text


def test_what_would_settle_it_does(here: Here, odile: Browser) -> None:
    animal = here.animal("R-17")
    here.call(here.odile, animal, "male")
    page = odile.open(f"/animals/{animal.pk}")
    assert "What would settle it: one blind check, such as a probing," in page.text
    assert "by somebody new to it who is known here, if it finds male" in page.text
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal))
    assert here.label(animal) == "verified male"
    assert "What would settle it" not in odile.open(f"/animals/{animal.pk}").text


def test_nothing_is_said_to_settle_what_one_check_cannot(here: Here, odile: Browser) -> None:
    """After a strong contradiction one blind probing more is not enough, and is not promised."""
    animal = here.verified("R-17")
    here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
    page = odile.open(f"/animals/{animal.pk}")
    promised = re.search(r"What would settle it: (.*?)\.", page.text)
    assert promised
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal))
    assert ("one blind check" in promised[1]) == (here.label(animal) == "verified male")


def test_where_the_numbers_come_from_is_folded_and_there(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    html = odile.open(f"/animals/{animal.pk}").html
    how = html.split('<details class="how"><summary>How?</summary>')[1].split("</section>")[0]
    for said in (
        "Computed by the server, log position",
        "parameters sexing-",
        "rule policy-",
        "examiners’ records",
        "Every number behind this, with its source",
        "plausible numbers",
    ):
        assert said in how, said


def test_a_call_is_one_line_that_opens(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    html = odile.open(f"/animals/{animal.pk}").html
    lines = re.findall(
        r"<li class=\"call\"[^>]*>\s*<details>\s*<summary>(.*?)</summary>", html, re.DOTALL
    )
    words = [" ".join(re.sub(r"<[^>]*>", " ", one).split()) for one in lines]
    assert len(words) == 3
    assert words[0].startswith("call a Odile Marten Probing: male")
    assert "blind" in words[1]


def test_more_calls_ask_nothing_more_of_the_database(here: Here, odile: Browser) -> None:
    animal = here.verified("R-17")
    path = f"/animals/{animal.pk}"
    odile.open(path)
    with CaptureQueriesContext(connection) as few:
        odile.open(path)
    for _ in range(3):
        here.pass_time(days=1)
        here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal))
    odile.open(path)
    with CaptureQueriesContext(connection) as more:
        odile.open(path)
    assert len(more) == len(few)

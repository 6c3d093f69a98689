"""What happened when: a strip true to scale in time, for each reader what they may read."""

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.pages.plots.timeline import APART, Happened, timeline

pytestmark = pytest.mark.one_in(6)

START = datetime(2024, 3, 6, 12, tzinfo=UTC)
NOW = START + timedelta(days=400)


def drawn(*events: Happened) -> ElementTree.Element:
    markup = str(timeline(events, events, NOW)).replace("<time datetime", "<time date")
    return ElementTree.fromstring(f"<div>{markup}</div>")  # noqa: S314  our own markup


def check(days: float, key: str = "a", **more: Any) -> Happened:
    return Happened(START + timedelta(days=days), "check", f"Call {key}", key, **more)


def circles(tree: ElementTree.Element, kind: str) -> list[tuple[float, float]]:
    found = (one for one in tree.iter("circle") if kind in str(one.get("class")).split())
    return [(float(one.attrib["cx"].rstrip("%")), float(one.attrib["cy"])) for one in found]


def test_equal_times_are_equal_distances_and_the_strip_ends_now() -> None:
    found = [x for x, _ in circles(drawn(check(0), check(100, "b"), check(200, "c")), "check")]
    assert found[1] - found[0] == pytest.approx(found[2] - found[1], abs=0.02)
    assert found[0] == 2
    assert circles(drawn(check(0), check(400, "b")), "check")[1][0] == 98


@given(st.lists(st.floats(0, 400), min_size=2, max_size=6))
def test_no_two_marks_cover_each_other(days: list[float]) -> None:
    found = circles(drawn(*(check(one, str(n)) for n, one in enumerate(days))), "check")
    for (x, y), (other_x, other_y) in pairwise(sorted(found, key=lambda one: (one[1], one[0]))):
        assert y != other_y or abs(x - other_x) >= APART - 0.01


def test_a_blind_check_has_a_whole_ring_and_one_that_knew_a_dashed_one() -> None:
    tree = drawn(check(0), check(100, "b", blind=True))
    rings = [one for one in tree.iter("circle") if "check" in str(one.get("class"))]
    assert [one.get("stroke-dasharray") for one in rings] == ["2 2", None]


def test_a_fall_is_a_cross_and_how_sure_is_told_by_the_line() -> None:
    held = Happened(START, "standing", "The record says verified male.", label="verified male")
    later = START + timedelta(days=200)
    fell = Happened(later, "standing", "It fell.", label="contested", fell=True)
    tree = drawn(held, fell)
    lines = [one for one in tree.iter("line") if one.get("class") == "stretch"]
    assert [one.get("stroke-dasharray") for one in lines] == [None, "9 4"]
    assert [one.get("class") for one in tree.iter("svg") if one.get("overflow")].count("fell") == 1
    words = " ".join(tree.itertext())
    assert "verified male" in words
    assert "A cross: a verified sex fell." in words


def test_much_of_one_kind_is_thinned_on_the_strip() -> None:
    meals = [Happened(START + timedelta(days=n / 10), "meal", "") for n in range(4000)]
    ticks = [one for one in drawn(*meals).iter("line") if one.get("class") == "tick"]
    assert 50 < len(ticks) <= 200


@pytest.mark.parametrize("days", [0, 1, 20, 70, 400, 4000])
def test_dates_stand_apart_and_never_more_than_a_phone_has_room_for(days: int) -> None:
    events = [Happened(NOW - timedelta(days=days), "life", "It hatched.")]
    markup = str(timeline(events, events, NOW))
    assert 1 <= markup.count('class="when"') <= 5
    assert 'style="' not in markup


def test_nothing_is_drawn_of_nothing() -> None:
    assert timeline([], [], NOW) == ""


# --- on the page ------------------------------------------------------------------------


def told(page: Any) -> str:
    """The list below the strip, newest first."""
    return re.sub(r"\s+", " ", page.html.split('<ol class="timeline">')[1].split("</ol>")[0])


@told_once
def lived(here: Here) -> Any:
    """Checked twice, fed, weighed, fallen and drafted for a sale."""
    animal = here.verified("R-17")
    for grams in ("900", "950"):
        here.say(
            here.odile, "husbandry_noted", animal.pk, {"noted": {"type": "weight", "grams": grams}}
        )
    here.pass_time(days=1)
    here.call(here.stan, animal, "female", visit=here.visit(here.stan, animal))
    here.now_is_now()
    return animal


def test_its_keeper_reads_what_everybody_said_and_knew_and_its_sales(
    here: Here, odile: Browser, lived: Any
) -> None:
    here.offer(here.draft(lived))
    page = odile.open(f"/animals/{lived.pk}")
    story = told(page)
    for said in (
        "Call a, Odile Marten: Probing, male.",
        "Knew no earlier answer.",
        "The record says contested. It was verified male until then.",
        "Weighed 2 times this month, 900 to 950 g.",
        "A sale was drafted.",
        "An offer of sale, representing the sex as",
    ):
        assert said in story, said
    assert story.index("A sale was drafted.") < story.index("The record says contested.")
    assert 'class="fell"' in page.html


def test_who_is_shown_the_animal_reads_nothing_of_its_sales(
    here: Here, stan: Browser, lived: Any
) -> None:
    here.offer(here.draft(lived))
    here.view(here.stan, lived)
    story = told(stan.open(f"/animals/{lived.pk}"))
    assert "The record says contested." in story
    assert "sale" not in story
    assert "offer" not in story


def test_its_next_keeper_reads_nothing_of_the_sales_of_the_one_before(
    here: Here, odile: Browser, stan: Browser
) -> None:
    animal = here.verified("R-17")
    here.now_is_now()
    here.draft(animal)
    assert "A sale was drafted." in told(odile.open(f"/animals/{animal.pk}"))
    room = create_collection(here.stan, new_id(here.now), "Stan's", here.now)
    Animal.objects.filter(pk=animal.pk).update(collection=room)
    story = told(stan.open(f"/animals/{animal.pk}"))
    assert "Call a, Odile Marten" in story
    assert "sale" not in story


def test_a_blind_guest_is_shown_nothing_of_it(here: Here, greta: Browser, lived: Any) -> None:
    here.visit(here.greta, lived)
    page = greta.open(f"/animals/{lived.pk}")
    assert page.status == 200
    assert "timeline" not in page.html
    assert "What happened" not in page.text

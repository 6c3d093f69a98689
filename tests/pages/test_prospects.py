"""A pairing's prospects as a page says them, planned or not."""

import pytest
from django.core.cache import cache
from django.db import connection
from django.test.utils import CaptureQueriesContext
from tests.breeding.genes import bred, state
from tests.intake.test_season_notes import note, paired
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once
from tests.world import new_id

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.one_in(6)

MOST = 20
"""Queries of the page of what an animal carries."""


@told_once
def pair(here: Here) -> tuple[Animal, Animal]:
    """Barnaby, verified male, and Fern: both proven carriers of albino."""
    sire, dam = here.verified("S-1"), here.animal("D-1")
    here.name(sire, "Barnaby")
    here.name(dam, "Fern")
    for one in (sire, dam):
        state(here, one, "carries_one")
    here.now_is_now()
    return sire, dam


def asked(browser: Browser, one: Animal, other: Animal, **more: str) -> str:
    given = "".join(f"&{name}={value}" for name, value in more.items())
    page = browser.open(f"/animals/{one.pk}/prospects?mate={other.pk}{given}")
    assert page.status == 200
    return str(page.text)


def test_a_quarter_of_two_carriers_young_show_it(
    pair: tuple[Animal, Animal], odile: Browser
) -> None:
    """1 : 2 : 1 (Mendel); at least one of eight: 1 - (3/4)^8 = 0.900."""
    text = asked(odile, *pair, eggs="8")
    assert "Barnaby with Fern" in text
    assert "not albino 75 in 100" in text
    assert "albino 25 in 100 2.0 90 in 100" in text
    assert "het albino 50 in 100" in text
    assert "a clutch of 8" in text


def test_all_of_it_is_times_the_chance_that_they_are_a_pair(
    pair: tuple[Animal, Animal], odile: Browser
) -> None:
    text = asked(odile, *pair, eggs="8")
    assert "A male and a female: 50 in 100" in text, "Fern is unsexed"
    assert "90 in 100 45 in 100" in text
    assert "If Fern is a male ( 50 in 100" in text.replace("(50", "( 50")
    assert "Nothing else is planned with Barnaby" in text


def test_the_more_likely_male_is_the_sire_whoever_is_asked_of(
    pair: tuple[Animal, Animal], odile: Browser
) -> None:
    sire, dam = pair
    assert "Barnaby with Fern" in asked(odile, dam, sire)


def test_sizes_and_cautions_say_where_they_come_from(
    pair: tuple[Animal, Animal], odile: Browser
) -> None:
    text = asked(odile, *pair)
    assert "a clutch of 4 to 15, 8.1 on average" in text
    assert "Gorzula" in text
    assert "No weight of it is noted." in text
    assert "That does not show that they are unrelated" in text


def test_six_plain_young_of_an_albino_mate_clear_a_plain_young_of_two_carriers(
    here: Here, odile: Browser
) -> None:
    """From 2/3, with a mate that shows it: 1/17 after five, 1/33 after six (Bayes)."""
    carriers, mate = [here.animal(f"P-{n}") for n in (1, 2)], here.animal("M-1")
    for one in carriers:
        state(here, one, "carries_one")
    animal = bred(here, "A-1", *carriers)
    state(here, animal, "does_not_show")
    state(here, mate, "carries_two")
    here.now_is_now()
    text = asked(odile, animal, mate)
    assert "It takes 6 young more, none showing it, to be 95 in 100 sure that it does not." in text
    for n in range(3):
        state(here, bred(here, f"Y-{n}", animal, mate, hatched="2026-08-01"), "does_not_show")
    page = odile.open(f"/animals/{animal.pk}/carries").text
    assert "3 young with M-1 were stated not to show it." in page
    assert "It takes 3 young more" in page
    assert "Of its 3 young on record 3 are spoken of: 0 stated to show albino, 3 not." in page


def test_full_siblings_are_warned_of(here: Here, odile: Browser) -> None:
    sire, dam = here.animal("S-1"), here.animal("D-1")
    one, other = (bred(here, f"Y-{n}", sire, dam) for n in (1, 2))
    here.now_is_now()
    text = asked(odile, one, other)
    assert "as close as full siblings" in text
    assert "Nothing that can be computed is stated of the two" in text


def test_harm_is_never_proposed_and_says_why(here: Here, odile: Browser) -> None:
    """Spider: all in a study wobbled (Starck et al. 2022, PLoS ONE 17:e0262788)."""
    one, other = here.animal("A-1"), here.animal("A-2")
    state(here, one, "shows", locus="spider")
    state(here, other, "does_not_show", locus="spider")
    here.now_is_now()
    text = asked(odile, one, other)
    assert "This pairing is never proposed." in text
    assert "Starck" in text


def test_what_a_fall_leaves_names_who_else_is_planned(
    here: Here, pair: tuple[Animal, Animal], odile: Browser
) -> None:
    sire, dam = pair
    other = here.animal("S-2")
    body = {"sire": str(other.pk), "dam": str(dam.pk), "season": 2028}
    here.say(here.odile, "pairing_planned", new_id(here.now), body)
    assert "Fern is planned with S-2 as well." in asked(odile, sire, dam, season="2028")


def test_a_dam_that_laid_this_year_is_to_rest(
    here: Here, pair: tuple[Animal, Animal], odile: Browser
) -> None:
    sire, dam = pair
    season = here.now.year + 1
    assert "Her last young came" not in asked(odile, sire, dam, season=str(season))
    note(here, here.odile, paired(here, sire, dam, here.now.year), "laid", good=6)
    text = asked(odile, sire, dam, season=str(season))
    assert f"Her last young came in {here.now.year}." in text
    assert "common practice, no source" in text


def test_a_cross_is_asked_for_by_saying_so(here: Here, odile: Browser) -> None:
    ball, corn = here.animal("B-1"), here.animal("C-1", species="pantherophis_guttatus")
    here.now_is_now()
    path = f"/animals/{ball.pk}/prospects?mate={corn.pk}"
    refused = odile.open(path)
    assert refused.status == 422
    assert "It is a corn snake." in refused.text
    assert "Of a cross nothing is worked out" in odile.open(f"{path}&cross=on").text


def test_nobody_learns_by_asking(here: Here, pair: tuple[Animal, Animal], greta: Browser) -> None:
    """Neither of an animal that they are to check blind, nor of one that they do not see."""
    sire, dam = pair
    here.visit(here.greta, dam)
    here.view(here.greta, sire)
    nowhere = greta.open(f"/animals/{here.collection.pk}/prospects?mate={sire.pk}")
    blind = greta.open(f"/animals/{dam.pk}/prospects?mate={sire.pk}")
    assert (blind.status, blind.html) == (404, nowhere.html)
    as_mate = greta.open(f"/animals/{sire.pk}/prospects?mate={dam.pk}")
    unknown = greta.open(f"/animals/{sire.pk}/prospects?mate={new_id()}")
    assert as_mate.status == unknown.status == 422
    assert "Fern" not in as_mate.text


def test_how_often_the_pages_ask_does_not_follow_the_number_of_relatives(
    here: Here, pair: tuple[Animal, Animal], odile: Browser
) -> None:
    sire, dam = pair

    def queries() -> list[int]:
        counts = []
        for path in (f"/animals/{sire.pk}/carries", f"/animals/{sire.pk}/prospects?mate={dam.pk}"):
            cache.clear()
            with CaptureQueriesContext(connection) as asked_for:
                assert odile.open(path).status == 200
            counts.append(len(asked_for))
        return counts

    bred(here, "Y-0", sire, dam)
    few = queries()
    for n in range(12):
        young = bred(here, f"Y-{n + 1}", sire, dam if n % 2 else here.animal(f"D-{n + 2}"))
        state(here, young, "does_not_show")
    assert queries() <= [few[0], few[1] + 2], "the list of mates to choose from grew"
    assert few[0] <= MOST
    assert few[1] <= MOST + 12, "and to offer others to choose from"


@pytest.mark.parametrize("asked_for", ["", "?mate=", "?season=2030"])
def test_nothing_is_worked_out_before_somebody_is_chosen(
    pair: tuple[Animal, Animal], odile: Browser, asked_for: str
) -> None:
    page = odile.open(f"/animals/{pair[0].pk}/prospects{asked_for}")
    assert page.status == 200
    assert "With whom?" in page.text
    assert "A male and a female" not in page.text

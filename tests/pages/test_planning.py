"""Planning a visit, one animal's next check, and asking what a check would do."""

import re
from html import unescape
from urllib.parse import parse_qs, urlsplit

import pytest
from django.test import Client
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here

from scalewitness.animals.models import Animal
from scalewitness.animals.services import edit
from scalewitness.ledger.queries.tree import tip
from scalewitness.people.services import enrol_device
from scalewitness.planning.plans import WEIGHED

pytestmark = pytest.mark.one_in(6)


@pytest.fixture
def probed(here: Here) -> Animal:
    """Probed by its owner a month ago."""
    animal = here.animal("R-17")
    here.name(animal, "Vesper")
    here.call(here.odile, animal, "male")
    return animal


def test_a_visit_is_planned_and_leads_to_the_invitation(
    here: Here, odile: Browser, probed: Animal
) -> None:
    here.now_is_now()
    page = odile.open(f"/collections/{here.collection.pk}")
    assert f"/collections/{here.collection.pk}/plan" in page.links
    plan = odile.open(f"/collections/{here.collection.pk}/plan?minutes=30&by=keeper")
    assert plan.status == 200
    assert "Vesper : Probing , by an independent keeper 6 minutes" in plan.text
    assert "The sheet: 10 minutes" in plan.text
    assert "1 check, in the order of your racks. 4 of the minutes go to getting" in plan.text
    assert "Leaves 90 in 100 such verified." in plan.text
    assert "The record lacks a blind check, and this would be one." in plan.text
    assert "Never push." in plan.text
    assert "stakes.open_sale" in plan.text
    (invite,) = (one for one in plan.links if "/visits/new" in one)
    assert parse_qs(urlsplit(invite).query) == {"animal": [str(probed.pk)]}
    invitation = odile.open(invite)
    assert invitation.form(invite).values["animals"] == [str(probed.pk)]


def planned(page: Page) -> list[str]:
    """The animals of the plan, in its order."""
    return [str(given["data-animal"]) for tag, given in page.tags if "data-animal" in given]


def test_a_host_moves_and_skips_checks_and_the_address_holds_it(
    here: Here, odile: Browser, probed: Animal
) -> None:
    animals = [probed, *(here.animal(f"R-{number}") for number in (18, 19))]
    for one in animals[1:]:
        here.call(here.odile, one, "male")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/plan"
    plan = odile.open(f"{path}?minutes=60&by=keeper")
    first, second, third = planned(plan)
    assert "30 of 60 minutes" in plan.html
    assert re.search(r"A wrong decision: [\d.]+ in 100 now, [\d.]+ after it", plan.text)

    def pressed(page: Page, word: str, nth: int) -> Page:
        links = re.findall(rf'<a href="([^"]*)">{word}<span', page.html)
        return odile.open(path + unescape(links[nth]).partition("#")[0])

    moved = pressed(plan, "Down", 0)
    assert planned(moved) == [second, first, third]
    assert planned(pressed(moved, "Up", 1)) == [second, third, first]
    less = pressed(moved, "Skip", 0)
    assert planned(less) == [first, third]
    assert "20 of 60 minutes" in less.html
    kept = {name for name in less.forms[0].names if name in {"order", "skip", "minutes"}}
    assert kept == {"order", "skip", "minutes"}, "planned anew, it stays arranged"
    (invite,) = (one for one in less.links if "/visits/new" in one)
    assert parse_qs(urlsplit(invite).query) == {"animal": [first, third]}
    assert planned(pressed(less, "Plan it again", 0)) == [second, first, third]
    assert odile.open(f"{path}?order=x&order=x&skip=%00").status == 200


def test_neither_gain_nor_the_hosts_order_reaches_the_guest(
    here: Here, odile: Browser, greta: Browser, probed: Animal
) -> None:
    other = here.animal("R-05")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/plan?minutes=60&by=keeper&order={probed.pk}"
    (invite,) = (one for one in odile.open(path).links if "/visits/new" in one)
    here.visit(here.greta, other)  # so that Odile knows her
    chosen = [str(probed.pk), str(other.pk)]
    sent = odile.fill(invite, invite, guest=str(here.greta.pk), animals=chosen)
    greta.send(greta.open(sent.goes_to).form("/acceptance"))
    sheet = greta.open(f"{sent.goes_to}/sheet")
    assert re.findall(r"<strong>(R-\d+)</strong>", sheet.html) == ["R-05", "R-17"]
    for telling in ("wrong decision", "in 100", "Why", "gain"):
        assert telling not in sheet.html


def test_too_short_a_visit_leaves_it_out(here: Here, odile: Browser, probed: Animal) -> None:
    here.now_is_now()
    plan = odile.open(f"/collections/{here.collection.pk}/plan?minutes=5&by=keeper")
    assert "No check is worth making in this time." in plan.text
    assert "No time left for Vesper" in plan.text


def test_a_fed_animal_waits(here: Here, odile: Browser, probed: Animal) -> None:
    here.now_is_now()
    here.say(here.odile, "husbandry_noted", probed.pk, {"noted": {"type": "meal", "taken": True}})
    plan = odile.open(f"/collections/{here.collection.pk}/plan")
    assert "Not today Vesper : It was fed less than 7 days before." in plan.text
    one = odile.open(f"/animals/{probed.pk}/plan")
    assert "It was fed less than 7 days before." in one.text


def test_a_plan_without_a_number_is_refused_in_words(here: Here, odile: Browser) -> None:
    plan = odile.open(f"/collections/{here.collection.pk}/plan?minutes=soon")
    assert plan.status == 422
    assert "Enter a whole number." in plan.text
    assert odile.open(f"/collections/{here.collection.pk}/plan?by=nobody").status == 422


def test_those_who_would_do_as_well_share_a_line(here: Here, odile: Browser) -> None:
    seen, other = here.animal("S-1"), here.animal("S-2")
    here.call(here.greta, seen, "male", visit=here.visit(here.greta, seen, days=60))
    here.now_is_now()
    page = odile.open(f"/animals/{other.pk}/plan")
    assert "Probing , by an independent keeper or Greta Lund 6 minutes" in page.text
    assert page.text.count("Probing , by") == 2
    assert "Probing , by Odile Marten 6 minutes" in page.text


def test_what_would_help_most_names_what_is_ruled_out(
    here: Here, odile: Browser, probed: Animal
) -> None:
    here.now_is_now()
    assert f"/animals/{probed.pk}/plan" in odile.open(f"/animals/{probed.pk}").links
    page = odile.open(f"/animals/{probed.pk}/plan")
    assert "Probing , by an independent keeper" in page.text
    assert "Ultrasound by Odile Marten, an independent keeper, a laboratory" in page.text
    assert "An examiner in this role does not use this method." in page.text
    assert "Never push." in page.text


def test_what_if_shows_before_and_after_and_records_nothing(
    here: Here, odile: Browser, probed: Animal
) -> None:
    here.now_is_now()
    size = tip().size
    page = odile.open(f"/animals/{probed.pk}/what-if")
    assert page.status == 200
    assert "Nothing is recorded here." in page.text
    form = page.form("")
    assert form.method == "get"
    found = odile.open(f"/animals/{probed.pk}/what-if?method=probing&who=blind")
    labels = re.findall(r'<p class="label">([^<]*)</p>', found.html)
    assert labels == ["contested", "probable male", "verified male"]
    assert "Now the record says probable male ." in found.text
    for says in ("If it says female", "If it cannot tell", "If it says male"):
        assert says in found.text
    assert "The label would change from probable male to verified male." in found.text
    assert page.text == found.text, "a blind probing by somebody else, before anything is chosen"
    assert tip().size == size
    assert here.label(probed) == "probable male"


def test_what_if_refuses_what_it_does_not_know(odile: Browser, probed: Animal) -> None:
    assert odile.open(f"/animals/{probed.pk}/what-if?method=tarot&who=blind").status == 422


def test_a_blind_guest_finds_none_of_it(here: Here, greta: Browser, probed: Animal) -> None:
    visit = here.visit(here.greta, probed, days=60)
    here.now_is_now()
    asked = "what-if?method=probing&who=blind"
    for path in (
        f"/animals/{probed.pk}/plan",
        f"/animals/{probed.pk}/{asked}",
        f"/collections/{here.collection.pk}/plan",
    ):
        page = greta.open(path)
        assert page.status == 404, path
        assert not re.search(r"\b(?:fe)?male\b", page.text)
    here.call(here.greta, probed, "male", visit=visit)
    assert greta.open(f"/animals/{probed.pk}/{asked}").status == 200
    assert greta.open(f"/animals/{probed.pk}/plan").status == 404


def test_of_a_large_collection_a_part_is_weighed_at_a_time(here: Here, odile: Browser) -> None:
    """And both the page and the answer say how many of how many."""
    for number in range(WEIGHED + 1):
        here.animal(f"P-{number}")
    here.now_is_now()
    path = f"/collections/{here.collection.pk}/plan"
    page = odile.open(f"{path}?minutes=30")
    assert f"This plan weighs {WEIGHED} of {WEIGHED + 1} animals" in page.text
    assert "?minutes=30&page=2" in page.links
    assert f"This plan weighs 1 of {WEIGHED + 1} animals" in odile.open(f"{path}?page=2").text
    token = enrol_device(here.odile, "laptop", here.now)[1]
    answer = Client().get(f"/api/v1{path}?page=2", headers={"Authorization": f"Bearer {token}"})
    assert answer.json()["weighed"] == {"animals": 1, "of": WEIGHED + 1, "page": 2, "pages": 2}


def test_young_of_a_clutch_take_one_line_each_in_the_order_of_their_tubs(
    here: Here, odile: Browser
) -> None:
    dam, day = here.animal("DAM"), f"{here.now:%Y-%m-%d}"
    for number in (10, 2, 1):
        young = here.animal(f"H-{number}", hatched=day, dam=str(dam.pk))
        edit(young, {"rack": f"A{number}"}, version=young.version, by=here.odile, now=here.now)
    here.now_is_now()
    plan = odile.open(f"/collections/{here.collection.pk}/plan?minutes=22&by=keeper")
    assert re.findall(r"H-\d+ \(A\d+\): Probing", plan.text) == [
        "H-1 (A1): Probing",
        "H-2 (A2): Probing",
        "H-10 (A10): Probing",
    ]
    assert "The sheet: 22 minutes" in plan.text
    assert plan.text.count("in 100 such probable, none verified.") == 1
    assert plan.text.count("With probing by another independent keeper as well") == 1
    assert plan.text.count("6 minutes, as the one before") == 2


def test_what_checks_cost_is_entered_in_the_keepers_money(
    here: Here, odile: Browser, probed: Animal
) -> None:
    here.now_is_now()
    path = f"/animals/{probed.pk}/plan"
    assert ", by a veterinarian" not in odile.open(path).text
    asked = "by=veterinarian&veterinarian=4&wrong_sex=900&currency=NOK"
    plan = odile.open(f"{path}?{asked}")
    assert "Probing , by a veterinarian 6 minutes, 4 NOK" in plan.text
    assert "Until they confirm it, it is the word of whoever sends it" in plan.text
    dear = odile.open(f"{path}?by=veterinarian&veterinarian=800&wrong_sex=900")
    assert "No check is worth making today." in dear.text
    assert "and what it costs" in dear.text
    visit = odile.open(f"/collections/{here.collection.pk}/plan?minutes=30&{asked}")
    assert "Together they cost 4 NOK." in visit.text


@pytest.mark.parametrize("asked", ["veterinarian=much", "wrong_sex=0", "by=nobody"])
def test_what_is_no_price_or_nobody_is_refused_in_words(
    here: Here, odile: Browser, probed: Animal, asked: str
) -> None:
    for path in (f"/animals/{probed.pk}/plan", f"/collections/{here.collection.pk}/plan"):
        plan = odile.open(f"{path}?{asked}")
        assert plan.status == 422
        assert "This cannot be worked out." in plan.text
        assert "Never push." in plan.text

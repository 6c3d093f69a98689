"""What is done with several animals at once: put into a place, planned for, written to a file."""

import csv
import io
from typing import Any

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here
from tests.world import new_id

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection

pytestmark = pytest.mark.one_in(6)


def chosen(what: str, *animals: Animal) -> str:
    return f"/animals/chosen?do={what}" + "".join(f"&animal={one.pk}" for one in animals)


def table(browser: Browser, *animals: Animal) -> list[dict[str, Any]]:
    answer = browser.client.get(chosen("export", *animals))
    assert answer.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in answer.headers["Content-Disposition"]
    return list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))


def test_several_are_put_into_a_place_at_once(here: Here, odile: Browser, stan: Browser) -> None:
    first, second = here.animal("A-1"), here.animal("A-2")
    here.name(second, "Onyx", rack="Hall 1")
    here.now_is_now()
    path = odile.open(chosen("place", first, second)).goes_to
    page = odile.open(path)
    assert "A-1, Onyx" in page.text
    refused = odile.send(page.form(path), place="x" * 41)
    assert refused.status == 422
    assert str(first.pk) in refused.html, "they stay chosen"
    odile.send(refused.form(path), place="Room 3")
    assert set(Animal.objects.values_list("rack", flat=True)) == {"Room 3"}
    assert "Hall 1" in odile.open(f"/animals/{second.pk}/history").text
    assert stan.open(path).status == 404
    assert odile.open("/animals/place").status == 404


def test_a_visit_is_planned_for_those_chosen_alone(here: Here, odile: Browser) -> None:
    one, other = here.animal("A-1"), here.animal("A-2")
    here.name(one, "Sedge")
    here.name(other, "Rowan")
    here.now_is_now()
    page = odile.open(odile.open(chosen("plan", one)).goes_to)
    assert "Of the 1 animal chosen." in page.text
    assert "Sedge" in page.text
    assert "Rowan" not in page.text
    assert page.form().values["animal"] == [str(one.pk)], "kept when it is planned anew"


def test_a_table_of_those_chosen_holds_what_one_may_see(here: Here, odile: Browser) -> None:
    male, plain = here.verified("A-1"), here.animal("A-2", hatched="2026-05-01")
    here.name(plain, "=HYPERLINK(1)", rack="+1", description="@x")
    here.now_is_now()
    rows = {one["tag"]: one for one in table(odile, male, plain)}
    assert rows["A-1"]["standing"] == "verified male"
    assert rows["A-2"]["standing"] == "unsexed"
    assert rows["A-2"]["hatched"] == "2026-05-01"
    computed = [rows["A-2"][name] for name in ("name", "rack", "description")]
    assert computed == ["'=HYPERLINK(1)", "'+1", "'@x"], "no spreadsheet computes it"


def test_a_blind_guest_gets_the_sheet_and_of_two_twins_the_same(here: Here, greta: Browser) -> None:
    rich, bare = here.verified("A-1"), here.animal("A-2")
    here.name(rich, "Barnaby", rack="Males", description="proven")
    here.view(here.stan, rich)
    here.visit(here.greta, rich, bare, days=60)
    here.now_is_now()
    first, second = table(greta, rich, bare)
    own = {"id", "tag"}
    assert {k: v for k, v in first.items() if k not in own} == {
        k: v for k, v in second.items() if k not in own
    }
    assert {name for name, value in first.items() if value} == {"id", "tag", "species"}
    for what in ("place", "plan", "labels"):
        assert greta.client.get(chosen(what, rich)).status_code == 302


def test_a_stranger_exports_nothing(here: Here, stan: Browser) -> None:
    animal = here.animal("A-1")
    here.now_is_now()
    assert stan.open(chosen("export", animal)).goes_to == "/animals"


def test_animals_are_looked_through_by_collection(here: Here, odile: Browser) -> None:
    here.animal("A-1")
    assert 'name="collection"' not in odile.open("/animals").html, (
        "of one there is nothing to choose"
    )
    loft = create_collection(here.odile, new_id(here.now), "Loft", here.now)
    here.animal("L-1", room=loft)
    here.now_is_now()
    page = odile.open(f"/animals?collection={loft.pk}")
    assert "L-1" in page.text
    assert "A-1" not in page.text
    assert 'name="collection"' not in odile.open(f"/collections/{loft.pk}").html
    assert "A-1" in odile.open("/animals?collection=nonsense").text

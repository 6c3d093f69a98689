"""Choosing among many animals: searched a few at a time, and nothing chosen or typed is lost."""

from typing import Any

import pytest
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here

from scalewitness.animals.models import Animal
from scalewitness.pages.parts.picks import SHOWN
from scalewitness.sales.models import Sale
from scalewitness.visits.models import Visit

LAST = f"T-{SHOWN + 3:02}"


@pytest.fixture
def many(here: Here) -> list[Animal]:
    """More than are shown at a time, by tag in order."""
    found = [here.animal(f"T-{number:02}") for number in range(SHOWN + 4)]
    for number, animal in enumerate(found):
        here.name(animal, f"N{number:02}")
    here.now_is_now()
    return found


def offered(page: Page, name: str) -> set[str]:
    """The ids that can be chosen in the field of that name."""
    boxes = {str(given.get("value")) for tag, given in page.tags
             if tag == "input" and given.get("name") == name}  # fmt: skip
    return boxes - {""}


def find(browser: Browser, page: Page, wanted: str, field: str = "animals", **typed: Any) -> Page:
    form = page.form()
    form.names["find"] = "button"
    return browser.send(form, **{f"find_{field}": wanted}, find=field, **typed)


def test_a_sale_keeps_what_was_chosen_and_typed_through_each_search(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    path = f"/collections/{here.collection.pk}/sales/new"
    page = odile.open(path)
    first, last = many[0], many[-1]
    assert len(offered(page, "animals")) == SHOWN
    assert str(last.pk) not in offered(page, "animals")
    typed = {"buyer_name": "Bela Novak", "buyer_email": "bela@buyers.example", "by_code": "on"}
    page = find(odile, page, LAST, animals=[str(first.pk)], **typed)
    assert (page.status, Sale.objects.count()) == (200, 0)
    assert offered(page, "animals") == {str(first.pk), str(last.pk)}
    form = page.form()
    assert form.values["animals"] == [str(first.pk)]
    assert form.values["buyer_name"] == ["Bela Novak"]
    assert any(given.get("name") == "by_code" and "checked" in given for _, given in page.tags)
    page = find(odile, page, "N01", animals=[str(first.pk), str(last.pk)], by_code="on")
    assert set(page.form().values["animals"]) == {str(first.pk), str(last.pk)}
    odile.send(page.form(), by_code="on")
    sale = Sale.objects.get()
    assert set(sale.animals.values_list("pk", flat=True)) == {first.pk, last.pk}
    assert (sale.buyer.email, sale.by_code) == ("bela@buyers.example", True)


def test_what_is_looked_for_may_be_far_down_the_list_of_a_visit(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    path = f"/collections/{here.collection.pk}/visits/new"
    page = find(odile, odile.open(path), LAST, email=here.greta.email, blind="no")
    assert page.form().values["blind"] == ["no"]
    odile.send(page.form(), animals=[str(many[-1].pk)])
    visit = Visit.objects.get()
    assert [one.pk for one in visit.animals.all()] == [many[-1].pk]
    assert not visit.blind


def test_animals_chosen_elsewhere_are_ticked_wherever_they_stand(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    """As from the plan of a visit."""
    path = f"/collections/{here.collection.pk}/visits/new?animal={many[-1].pk}"
    assert odile.open(path).form().values["animals"] == [str(many[-1].pk)]


def test_parents_are_found_and_the_ones_on_record_stay(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    young = here.animal("Y-1", dam=str(many[-1].pk))
    path = f"/animals/{young.pk}/particulars"
    page = odile.open(path)
    assert page.form().values["dam"] == [str(many[-1].pk)]
    page = find(odile, page, f"N{SHOWN + 2:02}", "sire", traits="pied")
    assert page.form().values["traits"] == ["pied"]
    odile.send(page.form(), sire=str(many[-2].pk))
    young.refresh_from_db()
    assert (young.sire, young.dam) == (many[-2].pk, many[-1].pk)


def test_a_mate_is_found(here: Here, odile: Browser, many: list[Animal]) -> None:
    page = find(odile, odile.open(f"/animals/{many[0].pk}/pairings/new"), LAST, "mate", role="sire")
    odile.send(page.form(), mate=str(many[-1].pk))
    assert many[-1].pairings_as_dam.get().sire_id == many[0].pk


def test_only_ones_own_can_be_chosen(here: Here, stan: Browser, many: list[Animal]) -> None:
    """Neither by the search nor by an id that one knows."""
    stan.fill("/collections/new", name="Mine")
    here.now_is_now()
    path = f"/collections/{here.stan.collections.get().pk}/sales/new"
    for asked in (f"?animals={many[0].pk}", "?find_animals=N00"):
        assert offered(stan.open(f"{path}{asked}"), "animals") == set()


def test_a_search_that_finds_nothing_says_what_is_chosen(
    here: Here, odile: Browser, many: list[Animal]
) -> None:
    page = odile.open(f"/collections/{here.collection.pk}/swaps")
    form = page.form()
    page = odile.open(f"{form.action}?find_animals=nobody&find=animals&animals={many[0].pk}&animals=not-an-id")
    assert page.status == 200
    assert offered(page, "animals") == {str(many[0].pk)}


def test_few_animals_need_no_search(here: Here, odile: Browser) -> None:
    here.animal("A-1")
    here.now_is_now()
    assert 'name="find"' not in odile.open(f"/collections/{here.collection.pk}/sales/new").html

"""Looking through animals on pages, and doing something with several of them."""

from urllib.parse import urlencode
from uuid import UUID

import pytest
from tests.pages.browser import Browser, Page
from tests.pages.conftest import Here
from tests.plugins.told_once import told_once

from scalewitness.animals.models import Animal

pytestmark = pytest.mark.one_in(6)


def listed(page: Page) -> list[UUID]:
    """The animals on the page, in its order."""
    ids = [
        given["value"]
        for tag, given in page.tags
        if tag == "input" and given.get("name") == "animal"
    ]
    return [UUID(str(one)) for one in ids]


@told_once
def room(here: Here) -> dict[str, Animal]:
    """A verified male, one nobody checked, and a stranger's."""
    male, new = here.verified("OS-1"), here.animal("OS-2", species="pantherophis_guttatus")
    here.name(male, "Onyx", rack="Room 2")
    here.now_is_now()
    return {"male": male, "new": new}


def test_the_table_says_the_record_in_words_and_as_a_sign(
    here: Here, odile: Browser, room: dict[str, Animal]
) -> None:
    page = odile.open(f"/collections/{here.collection.pk}")
    assert listed(page) == [room["male"].pk, room["new"].pk]
    for words in ("Onyx", "OS-1", "verified male", "unsexed", "Room 2", "never", "2 animals"):
        assert words in page.text
    assert page.html.count('class="sign row"') == 2


def test_filters_and_order_stand_in_the_address(odile: Browser, room: dict[str, Animal]) -> None:
    male, new = room["male"].pk, room["new"].pk
    assert listed(odile.open("/animals?sex=male")) == [male]
    assert listed(odile.open("/animals?q=corn")) == [new]
    assert listed(odile.open("/animals?order=name&backwards=on")) == [new, male]
    assert listed(odile.open("/animals?sex=neither&after=nonsense")) == [male, new]
    page = odile.open("/animals?standing=contested")
    assert listed(page) == []
    assert "No animal here is like that. Show all" in page.text


def test_a_long_list_comes_in_pages_that_keep_what_was_asked(here: Here, odile: Browser) -> None:
    animals = [here.animal(f"OS-{n:02}").pk for n in range(53)]
    here.now_is_now()
    first = odile.open("/animals?whose=mine")
    (onward,) = [one for one in first.links if "after=" in one]
    assert "whose=mine" in onward
    second = odile.open(f"/animals{onward}")
    assert len(listed(first)) == 50
    assert [*listed(first), *listed(second)] == animals
    assert not [one for one in second.links if "after=" in one]


def chosen(browser: Browser, what: str, *animals: UUID) -> Page:
    query = urlencode([("do", what), *(("animal", one) for one in animals)])
    return browser.open(f"/animals/chosen?{query}")


def test_several_are_invited_to_or_sold_at_once(
    here: Here, odile: Browser, room: dict[str, Animal]
) -> None:
    both = [one.pk for one in room.values()]
    for what, form in (("invite", "visits/new"), ("sell", "sales/new")):
        there = chosen(odile, what, *both).goes_to
        assert there.startswith(f"/collections/{here.collection.pk}/{form}?")
        page = odile.open(there)
        assert set(page.form().values["animals"]) == {str(one) for one in both}


def test_what_is_not_ones_own_is_not_chosen(
    here: Here, odile: Browser, greta: Browser, room: dict[str, Animal]
) -> None:
    here.view(here.greta, room["male"])
    here.visit(here.greta, room["new"])
    for one in (room["male"].pk, room["new"].pk, UUID(int=7)):
        for what in ("invite", "labels"):
            there = chosen(greta, what, one).goes_to
            assert there == "/animals"
    assert "Choose one or more animals of your own first." in greta.open("/animals").text
    assert chosen(odile, "invite").goes_to == "/animals"
    assert chosen(odile, "burn", room["male"].pk).goes_to == "/animals"


def test_a_label_bears_a_code_and_no_name(odile: Browser, room: dict[str, Animal]) -> None:
    page = chosen(odile, "labels", *(one.pk for one in room.values()))
    assert "OS-1" in page.text
    assert "OS-2" in page.text
    assert "corn snake" in page.text
    assert "Onyx" not in page.html
    assert "male" not in page.text
    assert page.html.count("<svg") == 2


def test_whoever_sees_only_blind_animals_has_no_filter_that_names_a_sex(
    here: Here, greta: Browser, room: dict[str, Animal]
) -> None:
    here.visit(here.greta, *room.values())
    page = greta.open("/animals")
    assert "blind until your call" in page.text
    assert "male" not in page.html
    assert listed(greta.open("/animals?sex=male")) == listed(page)

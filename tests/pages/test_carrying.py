"""What an animal carries, as its page says it, and the pedigree that it is worked out from."""

from typing import Any
from xml.etree import ElementTree

from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.animals.models import Animal


def bred(here: Here, tag: str, sire: Animal | None, dam: Animal | None, **more: Any) -> Animal:
    parents = {"sire": sire, "dam": dam}
    named = {role: str(one.pk) for role, one in parents.items() if one}
    return here.animal(tag, hatched="2025-08-01", **named, **more)


def drawing(html: str) -> ElementTree.Element:
    """The pedigree as XML: it must be well formed."""
    figure = html[html.index('<figure class="pedigree">') : html.index("</figure>") + 9]
    return ElementTree.fromstring(figure)  # noqa: S314  our own markup


def test_a_pedigree_is_drawn_with_sexes_and_the_same_in_words(here: Here, odile: Browser) -> None:
    sire, dam = here.verified("S-1"), here.animal("D-1")
    here.name(sire, "Barnaby <i>")
    young = bred(here, "Y-1", sire, bred(here, "D-2", None, dam))
    here.now_is_now()
    page = odile.open(f"/animals/{young.pk}/carries")
    tree = drawing(page.html)
    signs = [one.get("class") for one in tree.iter() if one.get("class") in SIGNS]
    assert sorted(signs) == ["female", "female", "male", "open"]
    assert "Dam’s dam D-1 : unsexed" in page.text
    assert "Sire Barnaby <i> : verified male" in page.text
    assert all("style" not in one.attrib for one in tree.iter()), "no colour, no style"
    links = [one.get("href") for one in tree.iter("a")]
    assert f"/animals/{sire.pk}" in links
    assert [one.get("class") for one in tree.iter("path")].count("tested") == 0


SIGNS = {"male", "female", "open"}


def test_without_parents_there_is_nothing_to_draw(here: Here, odile: Browser) -> None:
    animal = here.animal("A-1")
    here.now_is_now()
    assert "No parent of it is known to you" in odile.open(f"/animals/{animal.pk}/carries").text


def test_whoever_is_to_check_it_blind_is_told_nothing(here: Here, greta: Browser) -> None:
    animal = bred(here, "Y-1", here.animal("S-1"), None)
    here.visit(here.greta, animal)
    here.now_is_now()
    nowhere = greta.open(f"/animals/{here.collection.pk}/carries")
    page = greta.open(f"/animals/{animal.pk}/carries")
    assert (page.status, page.html) == (404, nowhere.html)

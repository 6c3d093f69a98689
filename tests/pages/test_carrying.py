"""What an animal carries, as its page says it, and the pedigree that it is worked out from."""

from itertools import pairwise
from xml.etree import ElementTree

import pytest
from tests.breeding.genes import bred, sired, state
from tests.pages.browser import Browser
from tests.pages.conftest import Here

from scalewitness.pages.plots.pedigree import Ancestor, Sex, pedigree
from scalewitness.pages.plots.sign import STROKES

pytestmark = pytest.mark.one_in(6)

HOSTILE = "<b>&\"alert'"


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
    assert f"/animals/{sire.pk}" in links, "in the words: a drawing is one picture to who hears it"
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


def test_chances_are_said_with_what_they_rest_on(here: Here, odile: Browser) -> None:
    sire, dam = here.animal("S-1"), here.animal("D-1")
    for parent in (sire, dam):
        state(here, parent, "carries_one")
    young = bred(here, "Y-1", sire, dam)
    state(here, young, "does_not_show")
    here.now_is_now()
    page = odile.open(f"/animals/{young.pk}/carries")
    assert "het albino" in page.text
    assert "66 in 100" in page.text or "67 in 100" in page.text
    assert "Its sire S-1 carries one copy of albino (100 % het), by a DNA test" in page.text
    assert "It does not show albino, as seen." in page.text
    assert "No test confirmed it: it may be another (1 in 100" in page.text
    assert "Brown et al. 2022" in page.text
    assert "66 % het" not in page.text, "the shorthand is for certain parents only"
    assert "het albino: certain" in page.text or "het albino: more than 99 in 100" in page.text


def test_what_is_not_computed_stands_in_its_words(here: Here, odile: Browser) -> None:
    animal = here.animal("A-1", traits=["pastel line"])
    here.now_is_now()
    page = odile.open(f"/animals/{animal.pk}/carries")
    assert "Pastel line, as registered" in page.text
    assert "Nothing that can be computed is stated" in page.text


def test_what_cannot_all_be_so_is_said(here: Here, odile: Browser) -> None:
    animal = here.animal("A-1")
    state(here, animal, "carries_two")
    state(here, animal, "carries_none")
    here.now_is_now()
    page = odile.open(f"/animals/{animal.pk}/carries")
    assert page.status == 200, "contradicting statements are weighed, not refused"


def test_the_shorthand_of_the_trade_comes_out_where_a_test_confirmed_the_parents(
    here: Here, odile: Browser
) -> None:
    sire, dam = here.animal("S-1"), here.animal("D-1")
    for parent in (sire, dam):
        state(here, parent, "carries_one")
    young = bred(here, "Y-1", sire, dam)
    state(here, young, "does_not_show")
    here.now_is_now()
    assert "66 % het" not in odile.open(f"/animals/{young.pk}/carries").text
    sired(here, sire, 1)
    page = odile.open(f"/animals/{young.pk}/carries")
    assert "66 % het albino" in page.text
    assert "No test confirmed it" not in page.text
    assert [one.get("class") for one in drawing(page.html).iter("path")].count("tested") == 2


@pytest.mark.parametrize(
    ("label", "sex", "sign", "stroke"),
    [
        ("verified male", "male", "rect", None),
        ("probable female", "female", "circle", STROKES["probable"]),
        ("contested", "", "path", STROKES["contested"]),
        ("unsexed", "male", "rect", STROKES["unsexed"]),
    ],
)
def test_how_sure_a_sex_is_shows_by_the_line_alone(
    label: str, sex: Sex, sign: str, stroke: str | None
) -> None:
    parent = Ancestor(HOSTILE, sex, label, ("het albino: 66 in 100",), tested=True)
    tree = drawing(pedigree(Ancestor("Y-1", "", "unsexed", sire=parent)))
    of_parent = next(one for one in tree.iter("g") if next(iter(one)).tag.endswith(sign))
    assert of_parent.get("stroke-dasharray") == stroke
    assert any(HOSTILE[:10] in (one.text or "") for one in tree.iter("text"))
    assert all(one.get("fill") in {None, "none", "currentColor"} for one in tree.iter())


def test_a_long_pedigree_is_drawn_apart_row_by_row() -> None:
    leaves = [Ancestor(f"G-{n}", "male", "unsexed", ("het a", "het b", "het c")) for n in range(4)]
    parents = [Ancestor("P", "male", "unsexed", sire=a, dam=b) for a, b in pairwise(leaves)][:2]
    tree = drawing(pedigree(Ancestor("Y", "", "unsexed", sire=parents[0], dam=parents[1])))
    names = [one for one in tree.iter("text") if (one.text or "").startswith("G-")]
    rows = [float(one.attrib["y"]) for one in names]
    assert min(b - a for a, b in pairwise(sorted(rows))) >= 40
    assert "het c" not in [one.text for one in tree.iter("text")], "the words below have all"
    assert "het c" in "".join(tree.itertext())


def test_what_harms_its_bearers_is_said_with_its_source(here: Here, odile: Browser) -> None:
    animal = here.animal("A-1")
    state(here, animal, "shows", locus="spider")
    here.now_is_now()
    text = odile.open(f"/animals/{animal.pk}/carries").text
    assert "inner ear" in text
    assert "Starck et al. 2022" in text

"""How a collection's examiners agree, in words: the figures, the cautions, and for whom."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import Here

pytestmark = pytest.mark.one_in(6)

TABLE = [("male", "male"), ("male", "male"), ("female", "female"), ("male", "female")]


def checked_twice(here: Here, answers: list[tuple[str, str]]) -> str:
    for number, (one, two) in enumerate(answers):
        animal = here.animal(f"P{number}")
        for guest, said in ((here.greta, one), (here.stan, two)):
            here.call(guest, animal, said, visit=here.visit(guest, animal))
        here.pass_time(days=4)
    here.now_is_now()
    return f"/collections/{here.collection.pk}/agreement"


def test_the_collection_leads_to_the_figures_with_their_cautions(
    here: Here, odile: Browser
) -> None:
    """Margins 3:1 and 2:2, three of four alike: Cohen 1/2 by hand; Fleiss, from shares 5/8
    and 3/8, (3/4 − 34/64) / (1 − 34/64) = 0.47. Greta and Stan may both be looked up."""
    path = checked_twice(here, TABLE)
    assert path in odile.open(f"/collections/{here.collection.pk}").links
    page = odile.open(path)
    assert "4 animals here were concluded on blind, 4 of them by two or more" in page.text
    assert "were alike 75% of the time" in page.text
    assert "Fleiss’ kappa Fleiss 1971; interval after Gwet 2014 0.47 95 in 100" in page.text
    assert "3 of 4 animals 0.50; 95 in 100 confidence" in page.text
    assert "Only 4 animals to go by" in page.text
    assert "Too few to tell how examiners agree beyond chance." in page.text
    assert page.text.count(": too few to tell, 4 animals.") == 2, "all, and the two"
    assert len([link for link in page.links if link.startswith("/animals/")]) == 4
    assert "Nobody disagreed" not in page.text
    for who in (here.greta, here.stan):
        assert f"/examiners/{who.pk}" in page.links
        assert odile.open(f"/examiners/{who.pk}").status == 200


def test_full_agreement_is_not_taken_for_certainty(here: Here, odile: Browser) -> None:
    page = odile.open(checked_twice(here, [("male", "male"), ("female", "female")]))
    assert "1.00 no interval while all animals come out alike" in page.text
    assert "2 of 2 animals 1.00; no interval while" in page.text
    assert "1.00 to 1.00" not in page.text
    assert "it does not mean that nobody ever will" in page.text


def test_one_answer_throughout_measures_nothing(here: Here, odile: Browser) -> None:
    page = odile.open(checked_twice(here, [("male", "male"), ("male", "male")]))
    assert "Everyone gave one and the same answer." in page.text
    assert "both gave one same answer throughout" in page.text
    assert "Fleiss" not in page.text.split("Two by two")[0]


def test_nothing_to_compare_is_said(here: Here, odile: Browser) -> None:
    path = f"/collections/{here.collection.pk}/agreement"
    assert "Nobody has concluded on an animal here" in odile.open(path).text
    animal = here.animal("A1")
    here.call(here.greta, animal, "male", visit=here.visit(here.greta, animal))
    assert "nothing to compare yet" in odile.open(path).text


def test_no_guest_no_viewer_no_stranger(here: Here, greta: Browser, stan: Browser) -> None:
    path = checked_twice(here, TABLE)
    body = {"to": str(here.stan.pk), "role": "viewer"}
    here.say(here.odile, "grant_given", here.collection.pk, body)
    here.visit(here.greta, here.animal("A1"), blind=False)
    assert [who.open(path).status for who in (greta, stan)] == [404, 404]

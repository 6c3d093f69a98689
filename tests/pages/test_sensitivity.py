"""The sentence on how far the answer moves, to keepers and to the buyer."""

from tests.pages.browser import Browser
from tests.pages.conftest import Here


def test_the_animals_page_says_how_far_the_answer_moves(here: Here, odile: Browser) -> None:
    animal = here.animal("A-1")
    assert "With other plausible numbers" not in odile.open(f"/animals/{animal.pk}").text
    here.call(here.odile, animal, "male")
    page = odile.open(f"/animals/{animal.pk}")
    assert "With other plausible numbers in the model, between" in page.text
    assert "What moves this most is" in page.text


def test_the_buyer_reads_it_on_the_offer(here: Here, anyone: Browser) -> None:
    sale = here.draft(here.verified("M-1"))
    here.now_is_now()
    here.offer(sale)
    page = anyone.open(f"/offers/{here.token(sale)}")
    assert "With other plausible numbers in the model, between" in page.text


def test_a_blind_guest_reads_nothing_of_it(here: Here, greta: Browser) -> None:
    animal = here.animal("A-1")
    here.call(here.odile, animal, "male")
    here.now_is_now()
    here.visit(here.greta, animal)
    page = greta.open(f"/animals/{animal.pk}")
    assert page.status == 200
    assert "plausible numbers" not in page.text

"""The page of an examiner: the record in words, and to whom it opens."""

import pytest
from tests.pages.browser import Browser
from tests.pages.conftest import MALE, Here
from tests.plugins.told_once import told_once

from scalewitness.animals.models import Animal
from scalewitness.intake.statements import update_examiner_records

pytestmark = pytest.mark.one_in(6)


def settled_female(here: Here, tag: str, said: str) -> Animal:
    animal = here.animal(tag)
    here.call(here.greta, animal, said, visit=here.visit(here.greta, animal))
    here.lays(animal)
    here.pass_time(days=4)
    return animal


@told_once
def recorded(here: Here) -> Animal:
    """Greta: wrong on one female of two. Her visits are over."""
    settled_female(here, "E1", "male")
    last = settled_female(here, "E2", "female")
    update_examiner_records(here.now)
    here.now_is_now()
    return last


def test_the_animal_page_leads_to_the_record_in_words(
    here: Here, odile: Browser, recorded: Animal
) -> None:
    """Beta(1.7, 38.3) of females and one wrong, one right: 2.7 in 42."""
    path = f"/examiners/{here.greta.pk}"
    assert path in odile.open(f"/animals/{recorded.pk}").links
    page = odile.open(path)
    assert page.status == 200
    assert "Of 2 females settled by others, 1 called right and 1 wrong, blind." in page.text
    assert f"about {2.7 / 42:.1%} wrong" in page.text
    assert "Provisional: about" in page.text
    assert "Probing: undecided, with 1 wrong in 2 settled calls." in page.text
    assert "signs of harm in 0 of 2 examinations" in page.text
    assert "too few to tell" in page.text, "of two animals"
    assert "How often wrong" in page.html, "the drawing"
    assert f"/animals/{recorded.pk}" in page.links, "one of those behind it"
    assert "our judgement" in page.text


def test_the_evidence_lists_the_record_it_was_weighed_by(
    here: Here, odile: Browser, stan: Browser, recorded: Animal
) -> None:
    """3 in 42 again, beside the other numbers of the animal's page."""
    told = f"females settled by others: 1 called right, 1 wrong, blind; error rate {2.7 / 42:.1%}"
    path = f"/animals/{recorded.pk}"
    assert f"Greta Lund , probing, {told}" in odile.open(path).text
    here.visit(here.stan, recorded, blind=False)
    assert told in stan.open(path).text
    here.visit(here.stan, here.animal("B1"))
    page = stan.open(path)
    assert told not in page.text
    assert "not shown while you have animals to check blind" in page.text


def test_a_buyer_reads_the_record_by_role(
    here: Here, anyone: Browser, stan: Browser, recorded: Animal
) -> None:
    sale = here.draft(recorded)
    here.offer(sale)
    page = anyone.open(f"/offers/{here.token(sale)}")
    assert "Independent keeper A, probing, females settled by others: 1 called right" in page.text
    assert "Greta" not in page.html
    assert str(here.greta.pk) not in page.text, "only beside its line, for the browser to check"


def test_ones_own_record_is_reached_from_the_account(
    here: Here, greta: Browser, recorded: Animal
) -> None:
    """Of animals she no longer sees she learns the logged counts and nothing else."""
    path = f"/examiners/{here.greta.pk}"
    assert path in greta.open("/account").links
    page = greta.open(path)
    assert "Of 2 females settled by others" in page.text
    assert "over 0 animals of theirs that you may see" in page.text
    assert not [link for link in page.links if f"/animals/{recorded.pk}" in link]
    assert "Provisional" not in page.text
    assert "No hatchling among" in page.text
    assert "No examination among" in page.text


def test_strangers_and_blind_guests_meet_the_same_nothing(
    here: Here, stan: Browser, recorded: Animal
) -> None:
    path = f"/examiners/{here.greta.pk}"
    before = stan.open(path)
    here.visit(here.stan, recorded)
    blind = stan.open(path)
    assert before.status == blind.status == 404
    assert before.html == blind.html
    assert path not in stan.open(f"/animals/{recorded.pk}").links


def test_the_logged_record_waits_for_the_end_of_a_blind_visit(
    here: Here, stan: Browser, recorded: Animal
) -> None:
    here.visit(here.stan, recorded, blind=False)
    path = f"/examiners/{here.greta.pk}"
    assert "Of 2 females settled by others" in stan.open(path).text
    here.visit(here.stan, here.animal("B1"))
    page = stan.open(path)
    assert "Not shown while you have animals to check blind." in page.text
    assert "settled by others, 1 called" not in page.text
    assert "Of 1 settled animal you may see, 1 called right and 0 wrong, blind." in page.text


def test_a_buyers_page_names_and_links_no_examiner(
    here: Here, anyone: Browser, odile: Browser
) -> None:
    animal = here.verified("V1")
    here.name(animal, MALE)
    sale = here.draft(animal)
    here.now_is_now()
    here.offer(sale)
    page = anyone.open(f"/offers/{here.token(sale)}")
    assert page.status == 200
    assert "/examiners/" not in page.html
    assert "/examiners/" in odile.open(f"/animals/{animal.pk}").html

"""Refiling a check and comparing its photos, on a phone and for every eye. With ``SHOTS=FOLDER``
the pages are left there as pictures to look at."""

from dataclasses import dataclass

import pytest
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_commerce import PHONE, keep, serious_faults
from tests.intake.test_comparing import EGGS, photo
from tests.world import probing

pytestmark = pytest.mark.one_in(3)


@dataclass(frozen=True)
class Told:
    keeper: str
    guest: str
    viewer: str
    animal: str
    call: str
    eggs: str


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    """Greta read the transponder of R-51 in the tub of R-50; Odile saw eggs in that of R-52."""
    world = site.world
    opened, read, laid = (world.animal(tag) for tag in ("R-50", "R-51", "R-52"))
    visit = world.visit(world.greta, opened, read)
    body = probing("male", world.chip(read)) | {"visit": str(visit)}
    call = world.say(world.greta, "call_made", opened.pk, body)
    photo(world, world.odile, laid, 400)
    eggs = world.call(world.odile, laid, "female", body={"observed": EGGS})
    photo(world, world.odile, laid, 500, eggs.id)
    world.view(world.stan, laid)
    sessions = (session_of(one) for one in (world.odile, world.greta, world.stan))
    return Told(*sessions, f"/animals/{laid.pk}", f"/calls/{call.id}", f"/calls/{eggs.id}")


def test_a_guest_says_on_their_phone_which_animal_it_was(opened: Open, story: Told) -> None:
    page = opened(story.call, story.guest, viewport=PHONE)
    keep(page, "accepted")
    page.get_by_role("link", name="File your check on R-51").click()
    keep(page, "refiling")
    assert serious_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    page.get_by_role("button", name="It was this animal").click()
    keep(page, "refiled")
    assert page.get_by_text("once you have checked it under its own").is_visible()


def test_a_stranger_compares_photos_and_the_keeper_reads_it(opened: Open, story: Told) -> None:
    page = opened(story.animal, story.viewer, viewport=PHONE)
    page.get_by_role("link", name="Compare its photos").click()
    keep(page, "comparing")
    assert serious_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    page.get_by_label("Yes, the same animal").check()
    page.get_by_role("button", name="Put it on record").click()
    page = opened(story.animal, story.keeper, viewport=PHONE)
    page.evaluate("for (const one of document.querySelectorAll('.call details')) one.open = true")
    keep(page, "compared")
    assert page.get_by_text("compared photos: it was this animal.").is_visible()

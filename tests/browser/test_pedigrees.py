"""What an animal carries and what two should bring, at a desk, on a phone and on paper."""

from dataclasses import dataclass

import pytest
from tests.breeding.genes import bred, state
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_commerce import serious_faults

PHONE, PAPER = {"width": 360, "height": 740}, {"width": 718, "height": 1048}
"""Of paper: A4 within margins of 10 mm, at 96 pixels to the inch."""


@dataclass(frozen=True)
class Bred:
    session: str
    carries: str
    prospects: str


@pytest.fixture(scope="module")
def story(site: Site) -> Bred:
    """Three generations with long names, some of them carriers, one of a harmful look."""
    world = site.world
    old = [world.animal(f"G-{n}") for n in range(4)]
    sire = bred(world, "S-1", old[0], old[1], hatched="2021-08-01")
    dam = bred(world, "D-1", old[2], old[3], hatched="2021-08-01")
    for one in (*old[:2], dam):
        state(world, one, "carries_one")
    state(world, sire, "shows", locus="spider")
    young = bred(world, "Y-1", sire, dam)
    state(world, young, "does_not_show")
    return Bred(
        session_of(world.odile),
        f"/animals/{young.pk}/carries",
        f"/animals/{sire.pk}/prospects?mate={dam.pk}",
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["carries", "prospects"])
@pytest.mark.some(1)
def test_everybody_can_read_it_and_nothing_scrolls_sideways(
    opened: Open, story: Bred, name: str, scheme: str
) -> None:
    path = getattr(story, name)
    page = opened(path, session=story.session, viewport=PHONE, color_scheme=scheme)
    for one in page.locator("details.how > summary").all():
        one.click()
    assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"]
    assert serious_faults(page) == []


def test_on_paper_the_whole_pedigree_fits_and_what_it_rests_on_is_open(
    opened: Open, story: Bred
) -> None:
    page = opened(story.carries, session=story.session, viewport=PAPER)
    page.emulate_media(media="print")
    drawn = page.locator(".pedigree svg").bounding_box()
    assert drawn
    assert drawn["x"] >= 0
    assert drawn["x"] + drawn["width"] <= PAPER["width"]
    assert page.get_by_text("No test confirmed it").first.is_visible()
    assert page.get_by_text("Sire’s dam", exact=True).is_visible()
    assert not page.get_by_role("link", name="Its prospects with another").is_visible()

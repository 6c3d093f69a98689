"""The calendar of the season breaks no rule of accessibility, on a phone and on a desk."""

from datetime import timedelta

import pytest
from playwright.sync_api import ViewportSize
from tests.browser.conftest import Open, Site, session_of
from tests.browser.test_today import SIZES, no_fault
from tests.world import new_id


@pytest.fixture(scope="module")
def story(site: Site) -> tuple[str, str]:
    """What was seen so far of a pairing, whose eggs are due; and its keeper's session."""
    world = site.world
    pairing, today = new_id(world.now), world.now.date()
    pair = {name: str(world.animal(tag).pk) for name, tag in (("sire", "SE-1"), ("dam", "SE-2"))}
    world.say(world.odile, "pairing_planned", pairing, pair | {"season": today.year})
    for what, ago in (("put_together", 110), ("ovulation", 61), ("shed_before_laying", 40)):
        body = {"what": what, "on": str(today - timedelta(days=ago))}
        assert world.say(world.odile, "season_noted", pairing, body).status == "accepted"
    return session_of(world.odile), f"/pairings/{pairing}"


@SIZES
@pytest.mark.some(1)
def test_the_season_can_be_read_and_noted_by_everybody(
    opened: Open, story: tuple[str, str], size: ViewportSize
) -> None:
    session, season = story
    for path in ("/calendar", f"{season}/season", f"{season}/notes/new?what=laid"):
        page = opened(path, session, viewport=size)
        no_fault(page, size["width"])

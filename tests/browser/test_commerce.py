"""The commercial pages on a phone, for every eye: axe-core's rules, nothing to scroll sideways,
readable without script. With ``SHOTS=FOLDER`` they are left there as pictures to look at."""

import os
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect
from tests.browser.conftest import Open, Site, session_of
from tests.turns import turns
from tests.world import World, new_id

from scalewitness.animals.services import create_collection
from scalewitness.disclosures.models import Disclosure
from scalewitness.disputes.models import Dispute
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept_one
from scalewitness.mail.services.links import link_token
from scalewitness.sales.models import OfferLink, Sale

pytestmark = pytest.mark.one_in(3)

PHONE = {"width": 360, "height": 740}
THUMB = 48
"""Pixels of a target, at least."""


@dataclass(frozen=True)
class Told:
    session: str
    paths: dict[str, str]


@pytest.fixture(scope="module")
def story(site: Site) -> Told:
    """A verified male sold, found a female, disputed from both sides; another one on offer."""
    world = site.world
    world.now -= timedelta(days=20)
    animal, other = world.verified("R-40"), world.verified("R-41", "female")
    pair = {"sire": str(animal.pk), "dam": str(other.pk), "season": world.now.year + 1}
    world.say(world.odile, "pairing_planned", new_id(world.now), pair)
    sale = world.sold(animal)
    world.say(world.odile, "handed_over", sale.pk)
    world.pass_time(days=1)
    world.call(world.stan, animal, "female", visit=world.visit(world.stan, animal))
    dispute, owed = Dispute.objects.get(), Disclosure.objects.get()
    says = (world.buyer(sale), "It laid eggs."), (Actor(keeper=world.odile.pk), "A male, twice.")
    for actor, text in says:
        item = world.item("statement_made", dispute.pk, {}, texts={"statement": text})
        accept_one(item, actor, world.now)
    gone = dispute_over_what_has_gone(world)
    world.now = world.now + timedelta(days=12)
    offered = world.draft(other, email="ferro@buyers.example", by_code=True)
    world.offer(offered)
    link, offer = token(sale, "disclosure"), token(offered, "offer")
    return Told(
        session_of(world.odile),
        {
            "offer": f"/offers/{offer}",
            "disclosure-link": f"/offers/{link}",
            "problem": f"/offers/{link}/animals/{animal.pk}/problem",
            "address": f"/offers/{link}/address",
            "sales": "/sales",
            "sale": f"/sales/{sale.pk}",
            "correct-address": f"/sales/{sale.pk}/address",
            "disclosures": "/disclosures",
            "disclosure": f"/disclosures/{owed.pk}",
            "disputes": "/disputes",
            "dispute": f"/disputes/{dispute.pk}",
            "dispute-as-seller": f"/disputes/{gone}",
            "draft": f"/collections/{world.collection.pk}/sales/new",
            "pairings": "/pairings",
            "plan-pairing": f"/animals/{animal.pk}/pairings/new",
            "animal": f"/animals/{animal.pk}",
            "account": "/account",
        },
    )


def dispute_over_what_has_gone(world: World) -> UUID:
    """Sold to Greta, who keeps it by now and opened a dispute."""
    animal = world.verified("R-42")
    shelf = create_collection(world.greta, new_id(world.now), "Greta's shelf", world.now)
    sale = world.draft(animal, email=world.greta.email)
    world.offer(sale)
    item = world.item("sale_confirmed", sale.pk, world.look(sale))
    accept_one(item, Actor(keeper=world.greta.pk), world.now)
    for step in ("payment_recorded", "handed_over"):
        world.say(world.odile, step, sale.pk)
    move = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", animal.pk, move)
    dispute = new_id(world.now)
    objection = {"animal": str(animal.pk), "ground": "party_objects", "sale": str(sale.pk)}
    texts = {"note": "It was seen to lay eggs."}
    world.say(world.greta, "dispute_opened", dispute, objection, texts=texts)
    return dispute


def token(sale: Sale, purpose: str) -> str:
    links = OfferLink.objects.filter(sale=sale, purpose=purpose, revoked_at=None)
    return link_token(links.order_by("-pk")[0].pk)


COLOURS_ONLY = {"runOnly": {"type": "tag", "values": ["cat.color"]}}
"""Of axe-core's rules, those that the colour scheme can make a difference to."""


def test_every_page_is_narrow_and_without_serious_fault(
    opened: Open, story: Told, request: pytest.FixtureRequest
) -> None:
    """An ordinary run looks at one in two, at others with each seed."""
    whose = turns(request.config, 2)
    who = {"buyer": "", "keeper": story.session}
    tabs = {
        one: opened("/", session=session, viewport=PHONE, color_scheme="light")
        for one, session in who.items()
    }
    for name, path in story.paths.items():
        if not next(whose):
            continue
        page = tabs["buyer" if path.startswith("/offers/") else "keeper"]
        page.emulate_media(color_scheme="light")
        page.goto(path)
        keep(page, f"{name}-light")
        assert serious_faults(page) == [], name
        assert page.evaluate("document.documentElement.scrollWidth") == PHONE["width"], name
        page.emulate_media(color_scheme="dark")
        keep(page, f"{name}-dark")
        assert serious_faults(page, COLOURS_ONLY) == [], name


def serious_faults(page: Page, options: dict[str, Any] | None = None) -> list[tuple[str, str]]:
    """The rule and the place of each."""
    found = Axe().run(page, options=options).response["violations"]
    serious = [one for one in found if one["impact"] in ("serious", "critical")]
    return [(one["id"], one["nodes"][0]["html"]) for one in serious]


def test_a_code_is_asked_for_and_sent_without_script(opened: Open, story: Told) -> None:
    page = opened(story.paths["offer"], viewport=PHONE, java_script_enabled=False)
    page.get_by_role("button", name="Send me a code").click()
    assert page.get_by_role("heading", name="A code is on its way").is_visible()
    keep(page, "code")


@pytest.mark.parametrize("width", [360, 1440])
def test_the_first_screen_of_an_offer_holds_the_answer_and_its_button(
    opened: Open, story: Told, width: int
) -> None:
    phone = {"viewport": PHONE | {"width": width}, "java_script_enabled": False}
    page = opened(story.paths["offer"], **phone)
    asked = page.get_by_role("navigation", name="Your answer").get_by_role("link")
    assert asked.all_inner_texts() == ["Confirm", "Ask for a check", "Decline"]
    for one in (page.get_by_role("heading", name="verified female"), *asked.all()):
        expect(one).to_be_in_viewport(ratio=1)
    assert all(one.bounding_box()["height"] >= THUMB for one in asked.all())  # type: ignore[index]
    asked.first.click()
    expect(page.get_by_label("In your words")).to_be_in_viewport(ratio=1)


def test_a_refused_answer_brings_its_reason_to_the_top_and_leads_to_the_field(
    opened: Open, story: Told
) -> None:
    phone = {"viewport": PHONE, "java_script_enabled": False, "expected": "422"}
    page = opened(story.paths["offer"], **phone)
    page.get_by_label("The six digits").fill("12 34")
    page.get_by_role("button", name="I confirm what I read here").click()
    reason = page.get_by_role("alert")
    expect(reason).to_be_focused()
    expect(reason).to_be_in_viewport(ratio=1)
    keep(page, "offer-refused")
    expect(page.get_by_label("The six digits")).to_have_value("12 34")
    reason.get_by_role("link", name="In your words").click()
    expect(page.get_by_label("In your words")).to_be_focused()


def keep(page: Page, name: str) -> None:
    if folder := os.environ.get("SHOTS"):
        page.screenshot(path=Path(folder, f"{name}.png"), full_page=True)

"""Which animal a check was of, on the pages: refiling it, and comparing its photos."""

import pytest
from tests.intake.test_comparing import Pictured, photo
from tests.intake.test_refiling import Tubs
from tests.pages.browser import Browser
from tests.pages.test_papers import fetched, text_of
from tests.world import World, keeper, new_id

from scalewitness.calls.models import Call

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(6)]

EGGS = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}


@pytest.fixture
def tubs(world: World) -> Tubs:
    opened, read = world.animal("A-0"), world.animal("A-1")
    world.chip(opened), world.chip(read)
    return Tubs(world, opened, read, world.visit(world.greta, opened, read, days=60))


@pytest.fixture
def pictured(world: World) -> Pictured:
    animal = world.animal("A-1")
    earlier = photo(world, world.odile, animal, 40)
    made = world.call(world.odile, animal, "female", body={"observed": EGGS})
    own = photo(world, world.odile, animal, 50, made.id)
    world.view(world.stan, animal)
    return Pictured(world, animal, str(made.id), own, earlier)


def test_a_guest_is_offered_the_animal_whose_transponder_they_read(tubs: Tubs) -> None:
    world, hers = tubs.world, Browser(tubs.world.greta)
    tubs.made(world.odile, tubs.read, "female", world.chip(tubs.read))
    call = tubs.check("male")
    accepted = hers.open(f"/calls/{call.pk}")
    assert "The transponder is that of A-1." in accepted.text
    offered = hers.open(f"/calls/{call.pk}/refiling")
    assert "You filed it on A-0." in offered.text
    assert "female" not in offered.text, "what others found in the other is not told"
    after = hers.open(hers.send(offered.form()).goes_to)
    assert "once you have checked it under its own name" in after.text
    assert "female" not in after.text
    assert Call.objects.filter(animal=tubs.read, refiles=call).count() == 1
    again = hers.send(offered.form())
    assert again.goes_to == f"/calls/{Call.objects.get(refiles=call).pk}", "sent twice"
    assert "It counts there and not here." in hers.open(f"/calls/{call.pk}").text


def test_the_keeper_reads_on_both_what_became_of_it(tubs: Tubs) -> None:
    world, odile = tubs.world, Browser(tubs.world.odile)
    call = tubs.check("male")
    before = odile.open(f"/animals/{tubs.opened.pk}").text
    assert f"It was {world.chip(tubs.read)}." in before, "so that they find the animal"
    tubs.refile(call)
    assert "another animal’s, and counted there" in odile.open(f"/animals/{tubs.opened.pk}").text
    there = odile.open(f"/animals/{tubs.read.pk}").text
    assert "It was first filed on another animal." in there
    assert "Greta Lund" in there
    paper = text_of(fetched(odile, f"/animals/{tubs.opened.pk}/record.pdf"))
    assert "counted there" in paper


def test_nothing_is_offered_where_the_code_names_no_animal_in_sight(tubs: Tubs) -> None:
    world, hers = tubs.world, Browser(tubs.world.greta)
    hers.client.raise_request_exception = False
    call = tubs.made(world.greta, tubs.opened, "male", "985000077777777")
    accepted = hers.open(f"/calls/{call.pk}")
    assert "is that of" not in accepted.text
    assert hers.client.get(f"/calls/{call.pk}/refiling").status_code == 404


def test_whoever_has_a_share_in_it_is_not_offered_what_they_are_refused(world: World) -> None:
    """Its keeper, of a guest's check: neither on its page nor in a dispute about it."""
    animal = world.animal("A-1")
    photo(world, world.odile, animal, 40)
    world.call(world.odile, animal, "male")
    visit = world.visit(world.greta, animal)
    made = world.call(world.greta, animal, "female", visit=visit)
    photo(world, world.greta, animal, 50, made.id)
    world.make_partner(world.pim)
    world.view(world.stan, animal)
    path, dispute = f"/calls/{made.id}/comparison", new_id(world.now)
    about = {"animal": str(animal.pk), "ground": "party_objects"}
    world.say(world.odile, "dispute_opened", dispute, about)
    for page in (f"/animals/{animal.pk}", f"/disputes/{dispute}"):
        assert path in Browser(world.stan).open(page).links
        for who in (world.odile, world.pim, world.greta):
            assert path not in Browser(who).open(page).links, (who, page)


def test_photos_are_compared_side_by_side_without_what_was_found(pictured: Pictured) -> None:
    world, his = pictured.world, Browser(pictured.world.stan)
    path = f"/calls/{pictured.call}/comparison"
    card = his.open(f"/animals/{pictured.animal.pk}")
    assert path in card.links
    assert path not in Browser(world.odile).open(f"/animals/{pictured.animal.pk}").links
    compared = his.open(path)
    for word in ("female", "Eggs", "eggs", "concluded"):
        assert word not in compared.text
    assert {f"/photos/{pictured.photo}", f"/photos/{pictured.earlier}"} <= set(compared.links)
    his.send(compared.form(), photo=pictured.photo, earlier=pictured.earlier, answer="same")
    assert "compared photos: it was this animal." in his.open(f"/animals/{pictured.animal.pk}").text
    changed = his.open(path)
    his.send(changed.form(), photo=pictured.photo, earlier=pictured.earlier, answer="another")
    assert "it was another animal" in his.open(f"/animals/{pictured.animal.pk}").text


def test_whoever_may_not_confirm_reads_why(pictured: Pictured) -> None:
    world = pictured.world
    hers = Browser(world.odile)
    form = hers.open(f"/calls/{pictured.call}/comparison").form()
    refused = hers.send(form, photo=pictured.photo, earlier=pictured.earlier, answer="same")
    assert "cannot confirm it" in refused.text
    blind = keeper("Blair Dunn")
    world.visit(blind, pictured.animal, days=60)
    his = Browser(blind)
    his.client.raise_request_exception = False
    assert his.client.get(f"/calls/{pictured.call}/comparison").status_code == 404

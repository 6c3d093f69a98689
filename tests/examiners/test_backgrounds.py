"""A buyer is told what is known of whoever checked the animal, and never who it is."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.api.client import Api
from tests.api.conftest import present
from tests.pages.browser import Browser
from tests.world import START, World, keeper, new_id, probing, tag_of, vouched

from scalewitness.animals.models import Animal, Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.facts import ExaminerRecordChanged, SettledCounts
from scalewitness.domain.moments import rfc3339
from scalewitness.examiners.backgrounds import _here, _settled, backgrounds_of
from scalewitness.intake.statements import update_examiner_records
from scalewitness.mail.models import Letter
from scalewitness.mail.services.links import link_token
from scalewitness.people.models import Keeper
from scalewitness.standings.queries.dossier import dossier

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(2)]


def told(world: World, animal: Animal, who: Keeper, viewer: Keeper | None = None) -> str:
    reader = viewer.pk if viewer else None
    return backgrounds_of(dossier(animal), world.odile.pk, reader, world.now)[who.pk]


def checked(world: World, animal: Animal, who: Keeper, sex: str = "female") -> None:
    """Blind, as the guest of whoever keeps it."""
    room = animal.collection
    visit = invited(world, room, who, animal)
    body = probing(sex, tag_of(animal)) | {"visit": str(visit)}
    assert world.say(who, "call_made", animal.pk, body).status == "accepted"


def invited(world: World, room: Collection, who: Keeper, animal: Animal) -> UUID:
    visit, closes = new_id(world.now), world.now + timedelta(days=3)
    body = {"collection": str(room.pk), "guest": str(who.pk), "animals": [str(animal.pk)]}
    body |= {"opens": rfc3339(world.now), "closes": rfc3339(closes)}
    world.say(room.keeper, "visit_invited", visit, body)
    world.say(who, "visit_accepted", visit)
    return visit


def room_of(world: World, who: Keeper) -> Collection:
    return create_collection(who, new_id(), "Elsewhere", world.now)


def test_a_friend_of_the_seller_is_told_as_such(world: World) -> None:
    animal, friend = world.animal("A1"), keeper("Friend")
    checked(world, animal, friend)
    world.pass_time(days=3)
    assert told(world, animal, friend) == (
        "Here for 3 days; checked for this seller only; none of their checks is settled yet; "
        "their word alone verifies nothing now."
    )


def test_other_hosts_settled_checks_and_vouchers_are_told(world: World) -> None:
    animal, other, who = world.animal("A1"), keeper("Host"), keeper("Guest")
    elsewhere = world.animal("B1", room=room_of(world, other))
    checked(world, animal, who)
    checked(world, elsewhere, who)
    vouched(who, world.now)
    world.lays(animal)
    world.pass_time(days=4)
    update_examiner_records(world.now)
    assert told(world, animal, who) == (
        "Here for 4 days; checked for 2 keepers, this seller among them; few of their checks are "
        "settled, all right; keepers with a record here vouch for them."
    )


def test_of_animals_that_a_guest_is_to_check_blind_nothing_is_counted(world: World) -> None:
    animal, who = world.animal("A1"), keeper("Guest")
    elsewhere = world.animal("B1", room=room_of(world, keeper("Host")))
    checked(world, animal, who)
    visit = invited(world, elsewhere.collection, world.stan, elsewhere)
    before = told(world, animal, who)
    checked(world, elsewhere, who)
    assert told(world, animal, who) == before
    world.say(elsewhere.collection.keeper, "visit_cancelled", visit)
    assert "2 keepers" in told(world, animal, who)


def test_a_buyer_with_a_blind_check_to_make_is_told_the_time_alone(world: World) -> None:
    animal, blind, who = world.animal("A1"), world.animal("A2"), keeper("Guest")
    checked(world, animal, who)
    world.visit(world.stan, blind)
    assert told(world, animal, who, world.stan) == (
        "Here since today; what else there is to know is told once you have made the checks you "
        "accepted."
    )


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        (0, 0, "none of their checks is settled yet"),
        (6, 1, "few of their checks are settled, some wrong"),
        (8, 0, "at least 8 of their checks are settled, all right"),
        (19, 1, "at least 20 of their checks are settled, at most one in 20 wrong"),
        (40, 5, "at least 20 of their checks are settled, at most one in 8 wrong"),
        (90, 30, "at least 100 of their checks are settled, more than one in 8 wrong"),
    ],
)
def test_how_settled_checks_came_out_is_told_in_steps(right: int, wrong: int, words: str) -> None:
    counts = SettledCounts(method="probing", sex="male", wrong=wrong, right=right)
    assert _settled(ExaminerRecordChanged(role="keeper", counts=(counts,))) == words


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "since today"),
        (1, "for 1 day"),
        (13, "for 13 days"),
        (20, "for 2 weeks"),
        (70, "for 2 months"),
        (800, "for 2 years"),
    ],
)
def test_time_is_told_coarser_the_longer_it_is(days: int, words: str) -> None:
    assert _here(START, START + timedelta(days=days)) == f"Here {words}"


def test_the_page_and_the_api_of_an_offer_say_it_alike_and_name_nobody(world: World) -> None:
    animal = world.verified("V1")
    present(world)
    world.offer(world.draft(animal))
    link = Letter.objects.filter(kind="offer").latest("created_at").context["link"]
    way = f"/offers/{link_token(UUID(link))}"
    shown = Api().get(way).body
    sentences = {one["examiner"] for one in shown["animals"][0]["calls"]}
    assert len(sentences) == 3
    page = Browser(None).open(way)
    for one in sentences:
        assert one.startswith("Here ")
        assert one in page.text
    assert "Guest V1" not in page.text


def test_the_page_after_a_fall_says_it_too(world: World) -> None:
    animal = world.verified("V1")
    present(world)
    world.sold(animal)
    for name in ("One", "Two"):
        checked(world, animal, keeper(name))
    link = Letter.objects.filter(kind="disclosure").latest("created_at").context["link"]
    page = Browser(None).open(f"/offers/{link_token(UUID(link))}")
    assert "checked for this seller only" in page.text

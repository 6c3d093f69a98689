"""A replica that lags shows nobody anything that the primary would not show them."""

from datetime import timedelta
from threading import Timer
from uuid import UUID

import pytest
from django.utils import timezone
from tests.api.client import Api
from tests.api.feeding import pull, told
from tests.pages.browser import Browser
from tests.replica.conftest import Following, read_from
from tests.world import World, probing

from scalewitness.animals.models import Animal
from scalewitness.intake.erasure import erase_texts_of
from scalewitness.people.services import revoke_device, sign_out_everywhere

pytestmark = pytest.mark.one_in(2)


@pytest.fixture
def world(lasting_world: World) -> World:
    lasting_world.now = timezone.now() - timedelta(seconds=5)
    return lasting_world


@pytest.fixture
def animal(world: World) -> Animal:
    return world.animal("A-1")


def test_the_replica_answers_what_only_reads(
    world: World, animal: Animal, replica: Following
) -> None:
    odile, browser = Api(world.odile), Browser(world.odile)
    with read_from("replica"):
        assert odile.get(f"/animals/{animal.pk}").status == 200
        assert pull(odile)[0]
        assert browser.open(f"/animals/{animal.pk}").status == 200


def test_a_grant_that_was_revoked_is_seen_to_be(
    world: World, animal: Animal, replica: Following
) -> None:
    grant = world.view(world.greta, animal)
    greta, browser = Api(world.greta), Browser(world.greta)
    with read_from("replica"):
        _, cursor = pull(greta)
        assert greta.get(f"/animals/{animal.pk}").status == 200
    with replica.held_back():
        world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
        for path in (f"/animals/{animal.pk}", f"/animals/{animal.pk}/calls"):
            with read_from("behind"):
                assert greta.get(path).status == 404
        with read_from("behind"):
            assert browser.open(f"/animals/{animal.pk}").status == 404
        with read_from("behind"):
            assert "A-1" not in browser.open("/animals").text
        with read_from("behind"):
            assert "purge" in told(pull(greta, cursor)[0])


def test_who_became_blind_is_told_nothing_more(
    world: World, animal: Animal, replica: Following
) -> None:
    world.call(world.odile, animal, "male")
    grant = world.view(world.greta, animal)
    greta, browser = Api(world.greta), Browser(world.greta)
    with read_from("replica"):
        _, cursor = pull(greta)
        assert greta.get(f"/animals/{animal.pk}/calls").body["items"]
    with replica.held_back():
        world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
        world.visit(world.greta, animal)
        with read_from("behind"):
            assert greta.get(f"/animals/{animal.pk}").body["sight"] == "blind"
        with read_from("behind"):
            assert greta.get(f"/animals/{animal.pk}/calls").body.get("items", []) == []
        with read_from("behind"):
            assert "Male" not in browser.open(f"/animals/{animal.pk}").text
        with read_from("behind"):
            assert told(pull(greta, cursor)[0])[0] == "snapshot blind"


def test_what_was_erased_is_gone(world: World, animal: Animal, replica: Following) -> None:
    call = world.call(world.odile, animal, "male", texts={"note": "beside the door"})
    odile = Api(world.odile)
    with read_from("replica"):
        assert "beside the door" in str(odile.get(f"/calls/{call.id}").body)
    with replica.held_back():
        erase_texts_of(UUID(call.id), timezone.now(), "author")
        with read_from("behind"):
            assert "beside the door" not in str(odile.get(f"/calls/{call.id}").body)


def test_who_was_signed_out_is_out(world: World, animal: Animal, replica: Following) -> None:
    odile, browser = Api(world.odile), Browser(world.odile)
    with read_from("replica"):
        assert browser.open("/animals").status == 200
    with replica.held_back():
        revoke_device(world.odile, odile.device.pk, timezone.now())
        sign_out_everywhere(world.odile, timezone.now())
        with read_from("behind"):
            assert odile.get("/animals").status == 401
        with read_from("behind"):
            assert browser.open("/animals").status == 302


def test_everyone_reads_what_they_wrote(world: World, animal: Animal, replica: Following) -> None:
    odile = Api(world.odile)
    with replica.held_back():
        made = world.item("call_made", animal.pk, probing("male", "A-1"), at=world.now)
        [outcome] = odile.post("/push", {"items": [made]}).body["items"]
        assert outcome["status"] == "accepted"
        with read_from("behind"):
            assert odile.get(f"/calls/{made['id']}").status == 200
        with read_from("behind"):
            items, cursor = pull(odile)
    with read_from("replica"):
        assert pull(odile, cursor)[0] == []  # nor is a cursor ever too new for it
    assert made["id"] in str(items)


def test_it_is_waited_for_a_moment(world: World, animal: Animal, replica: Following) -> None:
    odile = Api(world.odile)
    with replica.held_back():
        world.call(world.odile, animal, "male")
        replica.wait_long()
        goes_on = Timer(0.1, replica.told, ["SELECT pg_wal_replay_resume()"])
        goes_on.start()
        with read_from("replica"):
            assert len(odile.get(f"/animals/{animal.pk}/calls").body["items"]) == 1
        goes_on.join()

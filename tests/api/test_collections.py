"""Collections: one's own and those one shares."""

from tests.api.client import Api
from tests.world import World, new_id


def test_a_collection_is_made_once(world: World, stan: Api) -> None:
    sent = {"id": str(new_id()), "name": "Cellar"}
    answer = stan.post("/collections", sent)
    assert (answer.status, answer.headers["ETag"]) == (201, '"v1"')
    assert answer.headers["Location"] == f"/api/v1/collections/{sent['id']}"
    assert stan.post("/collections", sent).body == answer.body
    assert [one["name"] for one in stan.get("/collections").body["items"]] == ["Cellar"]


def test_an_id_stands_for_one_collection(world: World, odile: Api, stan: Api) -> None:
    sent = {"id": str(world.collection.pk), "name": "The long room"}
    assert odile.post("/collections", sent).status == 201
    for who, name in ((odile, "Another"), (stan, "The long room")):
        answer = who.post("/collections", {**sent, "name": name})
        assert (answer.status, answer.code) == (422, "id_reused")


def test_a_partner_sees_and_renames_it(world: World, pim: Api) -> None:
    world.make_partner(world.pim)
    path = f"/collections/{world.collection.pk}"
    (shown,) = pim.get("/collections").body["items"]
    assert (shown["role"], shown["keeper"]) == ("partner", "Odile Marten")
    assert pim.get(path).headers["ETag"] == '"v1"'
    answer = pim.patch(path, {"name": "The short room"}, {"If-Match": '"v1"'})
    assert (answer.status, answer.body["name"]) == (200, "The short room")
    assert answer.headers["ETag"] == '"v2"'


def test_strangers_and_viewers_do_not(world: World, stan: Api) -> None:
    path = f"/collections/{world.collection.pk}"
    body = {"to": str(world.stan.pk), "role": "viewer"}
    for _ in range(2):
        assert stan.get("/collections").body["items"] == []
        assert stan.get(path).code == "not_found"
        assert stan.patch(path, {"name": "Mine"}, {"If-Match": '"v1"'}).code == "not_found"
        world.say(world.odile, "grant_given", world.collection.pk, body)


def test_a_name_has_one_line(odile: Api) -> None:
    answer = odile.post("/collections", {"id": str(new_id()), "name": "a\nb"})
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", "/name")

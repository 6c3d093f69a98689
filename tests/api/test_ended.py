"""An animal that ended, by the API: sheets, the feed, and what an offline phone pushes."""

from datetime import timedelta

from django.utils import timezone
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339


def test_one_who_says_it_twice_reads_why_not(odile: Api, animal: Animal) -> None:
    path = f"/animals/{animal.pk}/end"
    assert odile.post(path, fact({"why": "died"})).status == 201
    again = odile.post(path, fact({"why": "lost"}))
    assert (again.status, again.body["detail"]) == (
        409,
        "Its keeper says that the animal died. Say first that it is there again.",
    )
    found = odile.post(f"{path}/correction", fact({"why": "found"}))
    assert (found.status, found.pointer) == (422, "/body/why")
    future = {"at": rfc3339(timezone.now() + timedelta(days=30))}
    assert odile.post(path, fact({"why": "lost"}) | future).status == 422


def test_nothing_new_of_it_can_be_sold(world: World, odile: Api, animal: Animal) -> None:
    odile.post(f"/animals/{animal.pk}/end", fact({"why": "lost"}))
    sale = {
        "id": str(new_id()),
        "collection": str(world.collection.pk),
        "animals": [str(animal.pk)],
        "buyer": {"name": "Bela Novak", "email": "bela@buyers.example"},
    }
    answer = odile.post("/sales", sale)
    assert (answer.status, answer.pointer) == (422, "/animals")


def test_a_blind_guest_is_told_that_it_ended_and_nothing_else(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    other = world.animal("A-2")
    visit = world.visit(world.greta, animal, other, days=60)
    present(world)
    world.call(world.odile, animal, "male")
    before = greta.get(f"/animals/{animal.pk}").body
    cursor = greta.get("/changes").body["cursor"]
    odile.post(f"/animals/{animal.pk}/end", fact({"why": "died"}))
    after = greta.get(f"/animals/{animal.pk}").body
    assert {name for name in after if after[name] != before.get(name)} == {"ended"}
    assert after["ended"]["why"] == "died"
    (news,) = greta.get("/changes", cursor=cursor).body["items"]
    assert (news["type"], news["animal"]) == ("animal", after)
    shown = greta.get(f"/visits/{visit}").body
    assert shown["count"] == 1
    rows = {
        one["id"]: one.get("ended") for one in greta.get(f"/visits/{visit}/sheet").body["animals"]
    }
    assert rows[str(other.pk)] is None
    assert rows[str(animal.pk)]["why"] == "died"


def test_what_an_offline_phone_noted_before_its_end_is_taken(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal, days=60)
    present(world)
    examined = rfc3339(world.now - timedelta(hours=3))
    odile.post(f"/animals/{animal.pk}/end", fact({"why": "died"}))
    body = probing("male", "A-1") | {"visit": str(visit)}
    item = fact(body) | {"kind": "call_made", "about": str(animal.pk), "at": examined}
    (done,) = greta.post("/push", {"items": [item]}).body["items"]
    assert done["status"] == "accepted"
    later = fact(probing("female", "A-1"))
    assert odile.post(f"/animals/{animal.pk}/calls", later).status == 201, "after death too"


def test_no_check_of_it_is_proposed(world: World, odile: Api) -> None:
    """Not even one that would do without it."""
    animal = world.animal("B-1", "pantherophis_guttatus")
    present(world)
    path, asked = f"/animals/{animal.pk}", {"by": "laboratory"}
    before = odile.get(f"{path}/plan", **asked).body
    assert [one["method"] for one in before["checks"]] == ["dna"]
    odile.post(f"{path}/end", fact({"why": "lost"}))
    plan = odile.get(f"{path}/plan", **asked).body
    assert plan["checks"] == []
    assert {one["why"][0] for one in plan["ruled_out"]} == {
        "Its keeper says that the animal is lost."
    }
    odile.post(f"{path}/end/correction", fact({"why": "found"}))
    assert odile.get(f"{path}/plan", **asked).body["checks"] == before["checks"]


def test_one_registered_in_error_leaves_the_phone_too(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    slip = world.animal("E-1")
    world.make_partner(world.greta)
    present(world)
    cursor = greta.get("/changes").body["cursor"]
    sent = fact({})
    answer = odile.post(f"/animals/{slip.pk}/registration-error", sent)
    assert answer.status == 201
    again = odile.post(f"/animals/{slip.pk}/registration-error", sent)
    assert again.body["position"] == answer.body["position"], "a repeat"
    (news,) = greta.get("/changes", cursor=cursor).body["items"]
    assert news == {"type": "purge", "animal": str(slip.pk)}
    assert odile.get(f"/animals/{slip.pk}").status == 404
    listed = {one["id"] for one in odile.get("/animals").body["items"]}
    assert listed == {str(animal.pk)}

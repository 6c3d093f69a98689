"""The feed of changes over the API: what it says, in what order, and how a client goes on."""

import json
from datetime import timedelta

import msgspec
import pytest
from django.conf import settings
from django.core.cache import cache
from django.test import Client
from django.utils import timezone
from knox.models import AuthToken
from tests.api.client import Api, fact
from tests.api.feeding import pull, told
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection
from scalewitness.api.throttling import Feed
from scalewitness.domain.sync import Reached, SnapshotRun, read_cursor, written
from scalewitness.ledger.models import Fence
from scalewitness.ledger.queries.tree import tip
from scalewitness.ledger.services.fencing import raise_fence
from scalewitness.rate_limit import attempts

pytestmark = pytest.mark.one_in(4)

V1 = {"If-Match": '"v1"'}


def test_a_first_pull_brings_everything_once(world: World, odile: Api, animal: Animal) -> None:
    world.call(world.odile, animal, "male")
    items, cursor = pull(odile)
    assert told(items) == ["collection", "snapshot all", "profile"]
    assert items[1]["animal"] == odile.get(f"/animals/{animal.pk}").body
    kinds = [one["entry"]["kind"] for one in items[1]["facts"]]
    assert kinds == ["animal_registered", "identifier_assigned", "call_made", "standing_changed"]
    assert pull(odile, cursor)[0] == []


def test_facts_come_in_log_order_with_the_animal_as_it_is_now(
    world: World, odile: Api, animal: Animal
) -> None:
    _, cursor = pull(odile)
    world.call(world.odile, animal, "male", texts={"note": "calm"})
    items, _ = pull(odile, cursor)
    assert told(items) == ["call_made", "standing_changed"]
    call, standing = items
    assert call["position"] < standing["position"]
    assert (call["by_name"], call["texts"]) == ("Odile Marten", {"note": "calm"})
    assert (standing["by_name"], "animal" in call) == (None, False)
    assert standing["animal"] == odile.get(f"/animals/{animal.pk}").body


def test_a_grant_brings_snapshots_and_its_end_a_purge(
    world: World, stan: Api, animal: Animal
) -> None:
    _, cursor = pull(stan)
    granted = {"to": str(world.stan.pk), "role": "viewer"}
    given = world.say(world.odile, "grant_given", world.collection.pk, granted)
    items, cursor = pull(stan, cursor)
    assert told(items) == ["snapshot all", "grant_given"]
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": given.id})
    items, cursor = pull(stan, cursor)
    assert items[0] == {"type": "purge", "animal": str(animal.pk)}
    assert told(items) == ["purge", "grant_revoked"]
    world.call(world.odile, animal, "male")
    assert pull(stan, cursor)[0] == []


def test_a_visit_opens_and_closes_by_the_clock(world: World, greta: Api, animal: Animal) -> None:
    world.now = timezone.now()
    world.visit(world.greta, animal)
    items, cursor = pull(greta)
    assert told(items)[0] == "snapshot blind"
    assert items[0]["facts"] == []
    later = world.now + timedelta(days=4)
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr("scalewitness.api.changes.timezone.now", lambda: later)
        items, _ = pull(greta, cursor)
    assert items == [{"type": "purge", "animal": str(animal.pk)}]


def test_ones_own_call_opens_what_was_blind(world: World, greta: Api, animal: Animal) -> None:
    world.now = timezone.now()
    world.call(world.odile, animal, "male")
    visit = world.visit(world.greta, animal)
    _, cursor = pull(greta)
    sent = fact(probing("male", "A-1") | {"visit": str(visit)})
    greta.post(f"/animals/{animal.pk}/calls", sent)
    items, _ = pull(greta, cursor)
    assert told(items) == ["snapshot all", "call_made", "standing_changed"]
    assert items[0]["animal"] == greta.get(f"/animals/{animal.pk}").body
    kinds = [one["entry"]["kind"] for one in items[0]["facts"]]
    assert kinds.count("call_made") == 2


def test_custody_moves(world: World, stan: Api, odile: Api, animal: Animal) -> None:
    world.now = timezone.now()
    shelf = create_collection(world.stan, new_id(), "Shelf", world.now)
    _, seller = pull(odile)
    _, buyer = pull(stan)
    sale = world.sold(animal, email=world.stan.email)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", animal.pk, moved)
    assert told(pull(stan, buyer)[0])[0] == "snapshot all"
    items, _ = pull(odile, seller)
    assert items[0] == {"type": "purge", "animal": str(animal.pk)}


@pytest.mark.parametrize("limit", [1, 2, 3, 500])
def test_small_pages_bring_the_same(world: World, pim: Api, limit: int) -> None:
    animals = [world.animal(f"S-{n}") for n in range(4)]
    _, cursor = pull(pim)
    world.make_partner(world.pim)
    for one in animals:
        world.call(world.odile, one, "female")
    items, _ = pull(pim, cursor, limit=limit)
    found = told(items)
    assert found[:5] == ["collection", *["snapshot all"] * 4]
    assert [one for one in found if one == "call_made"] == ["call_made"] * 4
    ids = [one["animal"]["id"] for one in items[1:5]]
    assert ids == sorted(ids)
    positions = [one["position"] for one in items if one["type"] == "fact"]
    assert positions == sorted(positions)
    whole, _ = pull(pim, limit=limit)
    assert {one["animal"]["id"] for one in whole if one["type"] == "snapshot"} == set(ids)


# --- going on -------------------------------------------------------------------------


def test_a_lost_answer_is_asked_for_again(world: World, odile: Api, animal: Animal) -> None:
    _, cursor = pull(odile)
    world.call(world.odile, animal, "male")
    first, _ = pull(odile, cursor)
    assert pull(odile, cursor)[0] == first
    world.call(world.odile, animal, "male")
    again, _ = pull(odile, cursor)
    assert [one["entry"]["id"] for one in again[:2]] == [one["entry"]["id"] for one in first]
    assert len(again) == 4


def test_the_state_is_in_the_cursor_alone(world: World, pim: Api) -> None:
    """A run of snapshots goes on on another server, and while the world changes."""
    first, second = world.animal("S-1"), world.animal("S-2")
    world.make_partner(world.pim)
    one = pim.get("/changes", limit=2).body
    assert told(one["items"]) == ["collection", "snapshot all"]
    world.call(world.odile, first, "male")
    third = world.animal("S-3")
    items, _ = pull(pim, one["cursor"], limit=2)
    snapshots = [item["animal"]["id"] for item in items if item["type"] == "snapshot"]
    assert set(snapshots) >= {str(second.pk), str(third.pk)} - {one["items"][1]["animal"]["id"]}
    assert "call_made" in told(items)


def test_lost_in_the_middle_of_a_run(world: World, pim: Api) -> None:
    for n in range(4):
        world.animal(f"S-{n}")
    grant = world.make_partner(world.pim)
    page = pim.get("/changes", limit=3).body
    seen = {item["animal"]["id"] for item in page["items"] if item["type"] == "snapshot"}
    body = {"grant": str(grant)}
    world.say(world.odile, "grant_revoked", world.collection.pk, body)
    items, cursor = pull(pim, page["cursor"], limit=3)
    assert not [item for item in items if item["type"] == "snapshot"]
    assert seen <= {item["animal"] for item in items if "animal" in item}
    assert {"type": "purge", "collection": str(world.collection.pk)} in items
    world.make_partner(world.pim)
    back, _ = pull(pim, cursor, limit=3)
    assert len([item for item in back if item["type"] == "snapshot"]) == 4


def test_let_in_again_while_a_run_was_under_way(world: World, pim: Api) -> None:
    """Out of sight when its turn came, in sight at the beginning and at the end."""
    ids = {str(world.animal(f"S-{n}").pk) for n in range(3)}
    grant = world.make_partner(world.pim)
    page = pim.get("/changes", limit=2).body
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    page = pim.get("/changes", limit=2, cursor=page["cursor"]).body
    world.make_partner(world.pim)
    items, _ = pull(pim, page["cursor"], limit=2)
    assert {one["animal"]["id"] for one in items if one["type"] == "snapshot"} == ids


@pytest.mark.parametrize("cursor", ["", "x", "AAAA", "é", "A" * 300, "A" * 301, "mA", "gA=="])
def test_a_cursor_that_never_was(odile: Api, cursor: str) -> None:
    answer = odile.get("/changes", cursor=cursor)
    assert (answer.status, answer.code) == (410, "resync")
    assert "without a cursor" in answer.body["title"]


def test_a_cursor_beyond_the_log(world: World, odile: Api, animal: Animal) -> None:
    """As after a restored backup that nobody fenced."""
    _, cursor = pull(odile)
    beyond = read_cursor(cursor)
    for changed in (
        {"sight": Reached(tip().size + 1, 0)},
        {"facts": tip().size + 1},
        {"animals": beyond.animals + 1},
        {"collections": beyond.collections + 1},
        {"run": SnapshotRun(Reached(tip().size + 1, 0))},
        {"epoch": b"another!"},
    ):
        answer = odile.get("/changes", cursor=written(msgspec.structs.replace(beyond, **changed)))
        assert (answer.status, answer.code) == (410, "resync"), changed
    assert odile.get("/changes", cursor=written(beyond)).status == 200


def test_a_restored_log_begins_anew_and_can_be_read_behind_its_fence(
    world: World, odile: Api, animal: Animal
) -> None:
    _, cursor = pull(odile)
    raise_fence("restored", world.now)
    assert odile.get("/changes", cursor=cursor).code == "resync"
    items, behind = pull(odile)
    assert told(items) == ["collection", "snapshot all", "profile"]
    Fence.objects.create(state="lifted", reason="adopted", at=world.now, size=0, root=b"")
    assert pull(odile, behind)[0] == []


@pytest.mark.parametrize(
    "query", [{"limit": 0}, {"limit": 1001}, {"wait": 26}, {"limit": "x"}, {"wait": -1}]
)
def test_questions_that_cannot_be(odile: Api, query: dict[str, object]) -> None:
    assert odile.get("/changes", **query).code == "malformed"


def test_a_forged_cursor_shows_nothing_more(world: World, stan: Api, animal: Animal) -> None:
    _, cursor = pull(stan)
    forged = msgspec.structs.replace(
        read_cursor(cursor), sight=Reached(0, 0), facts=0, covered=0, animals=0, collections=0
    )
    assert pull(stan, written(forged))[0] == []


# --- records --------------------------------------------------------------------------


def test_edits_of_records_come_too(world: World, odile: Api, pim: Api, animal: Animal) -> None:
    world.make_partner(world.pim)
    _, cursor = pull(pim)
    odile.patch(f"/animals/{animal.pk}", {"name": "Basil"}, {"If-Match": '"v1"'})
    odile.patch(f"/collections/{world.collection.pk}", {"name": "The short room"}, V1)
    pim.patch("/keepers/me", {"name": "Pim A."}, V1)
    items, cursor = pull(pim, cursor, limit=1)
    assert told(items) == ["profile", "collection", "animal"]
    assert items[0]["profile"]["name"] == "Pim A."
    assert items[1]["collection"]["name"] == "The short room"
    assert items[2]["animal"] == pim.get(f"/animals/{animal.pk}").body
    assert pull(pim, cursor)[0] == []


def test_what_an_animals_parents_are_follows_what_is_seen_of_them(world: World, greta: Api) -> None:
    world.now = timezone.now()
    dam, young = world.animal("D-1"), world.animal("Y-1")
    body = {"species": "python_regius", "dam": str(dam.pk)}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    visit = world.visit(world.greta, dam, young)
    _, cursor = pull(greta)
    world.call(world.greta, young, "male", visit=visit)
    items, cursor = pull(greta, cursor)
    assert items[0]["animal"]["dam"] is None
    assert str(dam.pk) not in json.dumps(items)
    world.call(world.greta, dam, "female", visit=visit)
    items, _ = pull(greta, cursor)
    shown = {one["animal"]["id"]: one for one in items if one["type"] == "snapshot"}
    assert shown[str(young.pk)]["animal"]["dam"] == str(dam.pk)
    kinds = [one["entry"]["kind"] for one in shown[str(young.pk)]["facts"]]
    assert "particulars_corrected" in kinds


def test_an_answer_is_compressed_and_an_etag_stays_strong(
    world: World, odile: Api, animal: Animal
) -> None:
    gzip = {"Accept-Encoding": "gzip"}
    response = Client().get("/api/v1/changes", headers=odile.headers | gzip)
    assert response.headers["Content-Encoding"] == "gzip"
    for n in range(9):
        world.say(world.odile, "identifier_assigned", animal.pk, {"scheme": "tag", "code": f"T{n}"})
    response = Client().get(f"/api/v1/animals/{animal.pk}", headers=odile.headers | gzip)
    assert len(response.content) > 200  # enough that Django would compress it
    assert response.headers["ETag"] == '"v1"'
    assert "Content-Encoding" not in response.headers


def test_asking_too_often(odile: Api, monkeypatch: pytest.MonkeyPatch) -> None:
    cache.clear()
    rate = int(settings.REST_FRAMEWORK["DEFAULT_THROTTLE_RATES"]["changes"].split("/")[0])
    token = AuthToken.objects.get(user__devices=odile.device)
    key = Feed.cache_format % {"scope": Feed.scope, "ident": token.pk}
    minute = 1_000_000
    monkeypatch.setattr("scalewitness.api.throttling.time", lambda: 60 * minute + 45)
    for _ in range(rate - 1):
        attempts(f"{key}:{minute}", 60)
    assert odile.get("/changes").status == 200
    answer = odile.get("/changes")
    assert (answer.status, answer.code) == (429, "throttled")
    assert answer.headers["Retry-After"] == "16"  # surely in the next minute
    monkeypatch.setattr("scalewitness.api.throttling.time", lambda: 60 * minute + 60)
    assert odile.get("/changes").status == 200

"""Animals: registering, listing, showing, editing, and what is said about them."""

from datetime import timedelta
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.utils import timezone
from tests.api.client import Answer, Api, fact
from tests.world import World, new_id

from scalewitness.animals.models import Animal
from scalewitness.domain.moments import rfc3339

pytestmark = pytest.mark.one_in(4)


def register(who: Api, world: World, **body: Any) -> Answer:
    sent = {"collection": str(world.collection.pk), "species": "python_regius", **body}
    return who.post("/animals", fact(sent, about=str(new_id())))


# --- registering ----------------------------------------------------------------------


def test_an_animal_is_registered(world: World, odile: Api) -> None:
    answer = register(odile, world, hatched="2024-07-01", traits=["pied"])
    assert (answer.status, answer.body["status"]) == (201, "accepted")
    shown = odile.get(answer.headers["Location"].removeprefix("/api/v1"))
    assert (shown.status, shown.headers["ETag"]) == (200, '"v1"')
    assert shown.body["species"]["scientific"] == "Python regius"
    assert (shown.body["hatched"], shown.body["traits"]) == ("2024-07-01", ["pied"])
    assert shown.body["collection"] == {"id": str(world.collection.pk), "name": "The long room"}
    assert (shown.body["standing"], shown.body["sight"]) == (None, "all")


@pytest.mark.parametrize(
    ("body", "code", "pointer"),
    [
        ({"species": "draco_imaginarius"}, "out_of_range", "/body/species"),
        ({"species": ""}, "wrong_shape", "/body/species"),
        ({"species": None}, "wrong_shape", "/body/species"),
        ({"hatched": "2099-01-01"}, "future_date", "/body/hatched"),
        ({"hatched": "2024-02-30"}, "out_of_range", "/body/hatched"),
        ({"hatched": "1066-10-14"}, "out_of_range", "/body/hatched"),
        ({"hatched": 20240101}, "wrong_shape", "/body/hatched"),
        ({"traits": ["pied\x00"]}, "out_of_range", "/body/traits/0"),
        ({"traits": "pied"}, "wrong_shape", "/body/traits"),
        ({"sire": str(new_id())}, "out_of_range", "/body/sire"),
        ({"dam": str(new_id())}, "out_of_range", "/body/dam"),
        ({"sex": "male"}, "wrong_shape", "/body"),
    ],
)
def test_animals_that_cannot_be(
    world: World, odile: Api, body: dict[str, Any], code: str, pointer: str
) -> None:
    answer = register(odile, world, **body)
    assert (answer.status, answer.code, answer.pointer) == (422, code, pointer)
    assert not Animal.objects.exists()


def test_an_entry_has_a_greatest_size(world: World, odile: Api) -> None:
    """65,535 bytes: the length prefix of C2SP tlog-tiles entry bundles is a uint16."""
    answer = register(odile, world, traits=["x" * 60] * 1200)
    assert (answer.status, answer.code) == (413, "too_large")


def test_an_animal_is_registered_once(world: World, odile: Api, animal: Animal) -> None:
    body = {"collection": str(world.collection.pk), "species": "python_regius"}
    answer = odile.post("/animals", fact(body, about=str(animal.pk)))
    assert (answer.status, answer.code, answer.pointer) == (422, "id_reused", "/about")


def test_nobody_registers_into_another_collection(world: World, stan: Api) -> None:
    answer = register(stan, world)
    assert (answer.status, answer.code, answer.pointer) == (404, "not_found", "/body/collection")


# --- listing --------------------------------------------------------------------------


def test_pages_lead_on_to_the_end(world: World, odile: Api) -> None:
    there = sorted(str(world.animal(f"A-{n}").pk) for n in range(5))
    seen, path = [], "/animals?limit=2"
    pages = 0
    while path:
        answer = odile.get(path.split("?")[0], **_query(path))
        seen += [one["id"] for one in answer.body["items"]]
        link, pages = answer.headers.get("Link"), pages + 1
        assert (link is None) == (answer.body["next"] is None)
        path = link.split(">")[0].removeprefix("<http://testserver/api/v1") if link else ""
    assert (seen, pages) == (there, 3)


def _query(path: str) -> dict[str, str]:
    return dict(pair.split("=") for pair in urlsplit(path).query.split("&"))


def test_a_collection_may_be_picked(world: World, odile: Api, animal: Animal) -> None:
    assert len(odile.get("/animals", collection=world.collection.pk).body["items"]) == 1
    assert odile.get("/animals", collection=new_id()).body["items"] == []


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("limit", "0"),
        ("limit", "201"),
        ("limit", "-1"),
        ("limit", "two"),
        ("limit", "1.5"),
        ("limit", ""),
        ("limit", "9" * 30),
        ("limit", "²"),
        ("cursor", "nonsense"),
        ("cursor", "\x00"),
        ("cursor", "AAAA"),
        ("cursor", "Ä"),
        ("collection", "mine"),
        ("collection", "\x00"),
    ],
)
def test_parameters_that_are_none(odile: Api, name: str, value: str) -> None:
    answer = odile.get("/animals", **{name: value})
    assert (answer.status, answer.code) == (400, "malformed")
    assert answer.body["parameter"] == name


def test_a_page_takes_the_same_queries_however_long(
    world: World, odile: Api, django_assert_max_num_queries: Any
) -> None:
    for n in range(6):
        world.animal(f"A-{n}")
    with django_assert_max_num_queries(9):
        assert len(odile.get("/animals").body["items"]) == 6


def test_a_stranger_sees_none(animal: Animal, stan: Api) -> None:
    assert stan.get("/animals").body == {"items": [], "next": None}
    assert stan.get(f"/animals/{animal.pk}").code == "not_found"


# --- editing --------------------------------------------------------------------------


def test_only_what_is_sent_changes(odile: Api, animal: Animal) -> None:
    path = f"/animals/{animal.pk}"
    odile.patch(path, {"name": "Maple", "description": "Shy.\nBites."}, {"If-Match": '"v1"'})
    answer = odile.patch(path, {"rack": "B-4", "hold_off": True}, {"If-Match": '"v2"'})
    assert (answer.status, answer.headers["ETag"]) == (200, '"v3"')
    kept = {name: answer.body[name] for name in ("name", "description", "rack", "hold_off")}
    assert kept == {
        "name": "Maple",
        "description": "Shy.\nBites.",
        "rack": "B-4",
        "hold_off": True,
    }
    assert odile.patch(path, {"name": ""}, {"If-Match": '"v3"'}).body["name"] == ""


@pytest.mark.parametrize(
    ("fields", "code", "pointer"),
    [
        ({"name": "x" * 81}, "wrong_shape", "/name"),
        ({"name": "a\nb"}, "out_of_range", "/name"),
        ({"rack": "\x00"}, "out_of_range", "/rack"),
        ({"description": "a\x00b"}, "out_of_range", "/description"),
        ({"description": "x" * 2001}, "wrong_shape", "/description"),
        ({"hold_off": "yes"}, "wrong_shape", "/hold_off"),
        ({"name": None}, "wrong_shape", "/name"),
        ({"species": "boa_constrictor"}, "wrong_shape", ""),
        ({"version": 5}, "wrong_shape", ""),
        ({}, "wrong_shape", ""),
    ],
)
def test_edits_that_cannot_be(
    odile: Api, animal: Animal, fields: dict[str, Any], code: str, pointer: str
) -> None:
    answer = odile.patch(f"/animals/{animal.pk}", fields, {"If-Match": '"v1"'})
    assert (answer.status, answer.code, answer.pointer) == (422, code, pointer)


def test_a_partner_edits_and_a_viewer_does_not(
    world: World, pim: Api, stan: Api, animal: Animal
) -> None:
    world.make_partner(world.pim)
    viewer = {"to": str(world.stan.pk), "role": "viewer"}
    world.say(world.odile, "grant_given", world.collection.pk, viewer)
    path, tag = f"/animals/{animal.pk}", {"If-Match": '"v1"'}
    assert stan.patch(path, {"name": "Mine"}, tag).code == "not_found"
    assert pim.patch(path, {"name": "Ours"}, tag).status == 200


# --- facts about an animal ------------------------------------------------------------


def test_particulars_are_corrected_whole(odile: Api, animal: Animal) -> None:
    body = {"species": "boa_constrictor", "traits": ["motley"]}
    assert odile.post(f"/animals/{animal.pk}/particulars", fact(body)).status == 201
    shown = odile.get(f"/animals/{animal.pk}")
    assert (shown.body["species"]["key"], shown.body["traits"]) == ("boa_constrictor", ["motley"])
    assert shown.headers["ETag"] == '"v2"'


def test_identifiers_are_added(odile: Api, animal: Animal) -> None:
    body = {"scheme": "transponder", "code": "276 0981 0612 3456"}
    answer = odile.post(f"/animals/{animal.pk}/identifiers", fact(body))
    assert answer.status == 201
    assert odile.get(f"/animals/{animal.pk}").body["identifiers"] == [
        {"scheme": "tag", "code": "A-1"},
        {"scheme": "transponder", "code": "276098106123456"},
    ]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"scheme": "transponder", "code": "12345"}, "/body/code"),
        ({"scheme": "tag", "code": "a\nb"}, "/body/code"),
    ],
)
def test_codes_that_cannot_be(
    odile: Api, animal: Animal, body: dict[str, Any], pointer: str
) -> None:
    answer = odile.post(f"/animals/{animal.pk}/identifiers", fact(body))
    assert (answer.status, answer.code, answer.pointer) == (422, "out_of_range", pointer)


def test_the_condition_is_what_was_noted_last(odile: Api, animal: Animal) -> None:
    now = timezone.now()
    for days, noted in (
        (9, {"type": "weight", "grams": "1450"}),
        (5, {"type": "meal", "taken": True, "grams": "90"}),
        (2, {"type": "weight", "grams": "1480.5"}),
        (1, {"type": "meal", "taken": False}),
        (1, {"type": "shed", "stage": "opaque"}),
        (0, {"type": "health", "sign": "gravid"}),
    ):
        at = rfc3339(now - timedelta(days=days))
        sent = fact({"noted": noted}, at=at, texts={"note": "by the evening light"})
        assert odile.post(f"/animals/{animal.pk}/husbandry", sent).status == 201
    found = odile.get(f"/animals/{animal.pk}").body["condition"]
    assert (found["grams"], found["shed"], found["health"]) == ("1480.5", "opaque", "gravid")
    assert found["fed_at"][:10] == (now - timedelta(days=5)).date().isoformat()
    assert found["weighed_at"][:10] == (now - timedelta(days=2)).date().isoformat()


@pytest.mark.parametrize(
    "noted",
    [
        {"type": "weight", "grams": "0"},
        {"type": "weight", "grams": 12},
        {"type": "weight", "grams": "1e9"},
        {"type": "mood", "sign": "well"},
        {"type": "meal"},
        {},
    ],
)
def test_notes_that_cannot_be(odile: Api, animal: Animal, noted: dict[str, Any]) -> None:
    answer = odile.post(f"/animals/{animal.pk}/husbandry", fact({"noted": noted}))
    assert answer.status == 422
    assert answer.code in {"wrong_shape", "out_of_range"}
    assert answer.pointer.startswith("/body/noted")


def test_a_remark_is_its_text(odile: Api, animal: Animal) -> None:
    path, noted = f"/animals/{animal.pk}/husbandry", {"noted": {"type": "remark"}}
    said = odile.post(path, fact(noted) | {"texts": {"note": "Rests its head on the water bowl."}})
    assert said.status == 201
    bare = odile.post(path, fact(noted))
    assert (bare.status, bare.code, bare.pointer) == (422, "wrong_shape", "/texts/note")
    known = fact({"noted": {"type": "remark", "text": "On view to all."}})
    assert odile.post(path, known).code == "wrong_shape"  # no free text enters the log


def test_a_guest_may_leave_a_weight_and_no_more(world: World, animal: Animal) -> None:
    world.now = timezone.now()
    world.visit(world.greta, animal)
    guest, path = Api(world.greta), f"/animals/{animal.pk}/husbandry"
    weight = {"noted": {"type": "weight", "grams": "900"}}
    assert guest.post(path, fact(weight)).status == 201
    answer = guest.post(path, fact({"noted": {"type": "health", "sign": "gravid"}}))
    assert (answer.status, answer.code) == (403, "not_allowed")


def test_an_animal_moves_between_ones_own_collections(
    world: World, odile: Api, animal: Animal
) -> None:
    other = odile.post("/collections", {"id": str(new_id()), "name": "Cellar"}).body["id"]
    answer = odile.post(f"/animals/{animal.pk}/custody", fact({"to": other, "why": "moved"}))
    assert answer.status == 201
    assert odile.get(f"/animals/{animal.pk}").body["collection"]["name"] == "Cellar"


def test_an_animal_is_not_given_to_a_stranger(world: World, odile: Api, animal: Animal) -> None:
    other = Api(world.stan).post("/collections", {"id": str(new_id()), "name": "Mine"}).body["id"]
    answer = odile.post(f"/animals/{animal.pk}/custody", fact({"to": other, "why": "given"}))
    assert (answer.status, answer.code) == (403, "not_allowed")


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("particulars", {"species": "boa_constrictor"}),
        ("identifiers", {"scheme": "tag", "code": "Z"}),
        ("husbandry", {"noted": {"type": "weight", "grams": "900"}}),
        ("custody", {"to": str(new_id()), "why": "moved"}),
    ],
)
def test_what_is_not_ones_own_is_not_there(
    stan: Api, animal: Animal, path: str, body: dict[str, Any]
) -> None:
    answer = stan.post(f"/animals/{animal.pk}/{path}", fact(body))
    nowhere = stan.post(f"/animals/{new_id()}/{path}", fact(body))
    assert (answer.status, answer.code) == (404, "not_found")
    assert answer.body == nowhere.body


# --- history --------------------------------------------------------------------------


def test_history_tells_edits_and_facts(world: World, odile: Api, animal: Animal) -> None:
    path = f"/animals/{animal.pk}"
    odile.patch(path, {"name": "Maple"}, {"If-Match": '"v1"'})
    odile.patch(path, {"name": "Mapel", "hold_off": True}, {"If-Match": '"v2"'})
    world.call(world.odile, animal, "male")
    found = odile.get(f"{path}/history").body
    assert [(edit["version"], edit["by"], edit["fields"]) for edit in found["edits"]] == [
        (2, "Odile Marten", {"name": {"was": "", "now": "Maple"}}),
        (
            3,
            "Odile Marten",
            {"name": {"was": "Maple", "now": "Mapel"}, "hold_off": {"was": False, "now": True}},
        ),
    ]
    assert [(one["kind"], one["by_name"]) for one in found["facts"]] == [
        ("animal_registered", "Odile Marten"),
        ("identifier_assigned", "Odile Marten"),
        ("call_made", "Odile Marten"),
        ("standing_changed", None),
    ]


def test_an_earlier_keepers_edits_are_not_the_next_ones_to_read(
    world: World, odile: Api, animal: Animal
) -> None:
    path = f"/animals/{animal.pk}"
    odile.patch(path, {"description": "Bought cheap, sold dear"}, {"If-Match": '"v1"'})
    other = odile.post("/collections", {"id": str(new_id()), "name": "Cellar"}).body["id"]
    odile.post(f"{path}/custody", fact({"to": other, "why": "moved"}))
    assert odile.get(f"{path}/history").body["edits"] == []


def listed(who: Api, ended: str = "") -> list[str]:
    query = {"ended": ended} if ended else {}
    return [one["id"] for one in who.get("/animals", **query).body["items"]]


def test_it_leaves_the_list_unless_it_is_asked_for(
    world: World, odile: Api, animal: Animal
) -> None:
    other, gone = str(world.animal("A-2").pk), str(animal.pk)
    assert odile.post(f"/animals/{gone}/end", fact({"why": "stolen"})).status == 201
    assert listed(odile) == [other]
    assert listed(odile, "only") == [gone]
    assert listed(odile, "too") == sorted([gone, other])
    assert odile.get("/animals", ended="maybe").status == 400
    assert odile.get(f"/animals/{gone}").body["ended"]["why"] == "stolen"
    sent = fact({"why": "found"})
    assert odile.post(f"/animals/{gone}/end/correction", sent).status == 201
    assert odile.get(f"/animals/{gone}").body["ended"] is None

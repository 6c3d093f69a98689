"""Blind is blind: until their own call is in, a guest learns nothing of another's."""

import re

import pytest
from tests.api.client import Api, fact
from tests.api.conftest import present
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection, edit
from scalewitness.calls.queries.visibility import young_seen
from scalewitness.intake.statements import update_examiner_records


@pytest.fixture
def secret(world: World) -> Animal:
    """A verified male with everything on it that could give it away."""
    animal = world.verified("V-1")
    body = {"species": "python_regius", "traits": ["coral glow maker"]}
    world.say(world.odile, "particulars_corrected", animal.pk, body)
    world.say(
        world.odile, "husbandry_noted", animal.pk, {"noted": {"type": "health", "sign": "gravid"}}
    )
    world.say(
        world.odile, "husbandry_noted", animal.pk, {"noted": {"type": "health", "sign": "well"}}
    )
    photo = {"scheme": "scale_photo", "code": "ventral-42"}
    world.say(world.odile, "identifier_assigned", animal.pk, photo)
    odile, path = Api(world.odile), f"/animals/{animal.pk}"
    version = odile.get(path).headers["ETag"]
    edit = {"name": "King of the room", "rack": "Breeders 3", "description": "Sired forty"}
    assert odile.patch(path, edit, {"If-Match": version}).status == 200
    present(world)
    return animal


@pytest.fixture
def visit(world: World, secret: Animal) -> str:
    return str(world.visit(world.greta, secret))


@pytest.fixture
def guest(world: World, visit: str) -> Api:
    return Api(world.greta)


def test_what_a_blind_guest_sees(guest: Api, secret: Animal) -> None:
    answer = guest.get(f"/animals/{secret.pk}")
    assert answer.status == 200
    assert set(answer.body) == {
        "id", "sight", "species", "hatched", "identifiers", "condition", "hold_off", "ended",
    }  # fmt: skip
    assert answer.body["sight"] == "blind"
    assert answer.body["identifiers"] == [{"scheme": "tag", "code": "V-1"}]
    assert "health" not in answer.body["condition"]
    assert "ETag" not in answer.headers


@pytest.mark.parametrize("path", ["calls", "standing", "history"])
def test_what_a_blind_guest_asks_in_vain(guest: Api, stan: Api, secret: Animal, path: str) -> None:
    answer = guest.get(f"/animals/{secret.pk}/{path}")
    assert (answer.status, answer.code) == (404, "not_found")
    assert answer.body == stan.get(f"/animals/{secret.pk}/{path}").body


def test_calls_and_what_is_said_of_them(guest: Api, secret: Animal) -> None:
    call = secret.calls.first()
    assert call is not None
    assert guest.get(f"/calls/{call.pk}").code == "not_found"
    answer = guest.post(f"/calls/{call.pk}/objection", fact({"ground": "other"}))
    assert answer.code == "not_found"


def test_the_collection_is_not_found_out_by_asking(
    world: World, guest: Api, secret: Animal
) -> None:
    assert len(guest.get("/animals").body["items"]) == 1
    assert guest.get("/animals", collection=world.collection.pk).body["items"] == []


def test_no_list_or_sheet_says_more(guest: Api, visit: str) -> None:
    for path in (
        "/animals",
        "/visits",
        f"/visits/{visit}",
        f"/visits/{visit}/sheet",
        "/grants",
        "/collections",
        "/sales",
        "/disputes",
        "/disclosures",
        "/held-calls",
    ):
        answer = guest.get(path)
        assert answer.status == 200, path
        answer.body.pop("cautions", None)  # the same for everyone
        said = f"{answer.body} {dict(answer.headers)}"
        found = re.search(
            r"\b(fe)?male|King|Breeders|Sired|coral|gravid|ventral|verified|long room", said
        )
        assert found is None, f"{path}: {found}"


def test_the_answer_to_their_own_call_says_only_that_it_is_in(
    guest: Api, secret: Animal, visit: str
) -> None:
    sent = fact(probing("female", "V-1") | {"visit": visit})
    answer = guest.post(f"/animals/{secret.pk}/calls", sent)
    assert (answer.status, set(answer.body)) == (
        201,
        {"id", "status", "position", "stamp", "receipt"},
    )
    assert answer.body["receipt"] == f"/api/v1/receipts/{sent['id']}"


def test_then_everything_is_open(guest: Api, secret: Animal, visit: str) -> None:
    sent = fact(probing("female", "V-1") | {"visit": visit})
    guest.post(f"/animals/{secret.pk}/calls", sent)
    shown = guest.get(f"/animals/{secret.pk}")
    assert (shown.body["sight"], shown.body["name"]) == ("all", "King of the room")
    assert len(guest.get(f"/animals/{secret.pk}/calls").body["items"]) == 4
    (row,) = guest.get(f"/visits/{visit}/sheet").body["animals"]
    assert row["own_call"]["id"] == sent["id"]
    assert row["standing"]["label"] == "contested"


def test_a_refused_call_tells_nothing_either(guest: Api, secret: Animal, visit: str) -> None:
    """The same refusal for an animal whose sex is known as for one where it is not."""
    body = probing("female", "V-1") | {"visit": visit, "sureness": "quite"}
    answer = guest.post(f"/animals/{secret.pk}/calls", fact(body))
    assert answer.code == "wrong_shape"
    assert guest.get(f"/animals/{secret.pk}").body["sight"] == "blind"


def test_two_guests_know_nothing_of_each_other(world: World, secret: Animal, visit: str) -> None:
    other = Api(world.stan)
    second = str(world.visit(world.stan, secret))
    sent = fact(probing("female", "V-1") | {"visit": visit})
    Api(world.greta).post(f"/animals/{secret.pk}/calls", sent)
    assert other.get(f"/animals/{secret.pk}").body["sight"] == "blind"
    (row,) = other.get(f"/visits/{second}/sheet").body["animals"]
    assert (row["own_call"], "standing" in row) == (None, False)
    assert other.get(f"/visits/{visit}").code == "not_found"


def test_an_open_animals_parents_tell_nothing_of_a_blind_one(world: World) -> None:
    present(world)
    dam, sire, young = world.animal("D-1"), world.animal("S-1"), world.animal("Y-1")
    parents = {"dam": str(dam.pk), "sire": str(sire.pk)}
    body = {"species": "python_regius", **parents}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    visit = world.visit(world.greta, dam, young)
    world.call(world.greta, young, "male", visit=visit)
    guest, path = Api(world.greta), f"/animals/{young.pk}"
    listed = {one["id"]: one for one in guest.get("/animals").body["items"]}
    for shown in (guest.get(path).body, listed[str(young.pk)]):
        assert (shown["sight"], shown["dam"], shown["sire"]) == ("all", None, None)
    world.call(world.greta, dam, "female", visit=visit)
    after = guest.get(path).body
    assert (after["dam"], after["sire"]) == (str(dam.pk), None)
    kept = Api(world.odile).get(path).body
    assert {"dam": kept["dam"], "sire": kept["sire"]} == parents


def test_not_even_ones_own_animal_tells_its_parents_sex_to_a_blind_guest(world: World) -> None:
    present(world)
    dam, young = world.animal("D-1"), world.animal("Y-1")
    body = {"species": "python_regius", "dam": str(dam.pk)}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    shelf = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    sale = world.sold(young, email=world.greta.email)
    moved = {"to": str(shelf.pk), "why": "sold", "sale": str(sale.pk)}
    world.say(world.odile, "custody_changed", young.pk, moved)
    buyer, path = Api(world.greta), f"/animals/{young.pk}"
    assert buyer.get(path).body["dam"] == str(dam.pk)
    world.visit(world.greta, dam)
    assert buyer.get(path).body["dam"] is None


@pytest.mark.parametrize("role", ["sire", "dam"])
def test_an_own_animal_is_not_found_by_the_other_parent_of_what_a_blind_guest_checks(
    world: World, role: str
) -> None:
    """By the young of a male of theirs they would know the blind one for the dam."""
    secret = world.animal("S-1")
    shelf = create_collection(world.greta, new_id(world.now), "Shelf", world.now)
    world.say(world.greta, "grant_given", shelf.pk, {"to": str(world.odile.pk), "role": "partner"})
    mate, young = world.animal("M-1", room=shelf), world.animal("Y-1", room=shelf)
    edit(mate, {"name": "Zorro"}, version=mate.version, by=world.greta, now=world.now)
    visit = world.visit(world.greta, secret, days=60)
    other = "dam" if role == "sire" else "sire"
    parents = {role: str(secret.pk), other: str(mate.pk)}
    body = {"species": "python_regius", "hatched": "2026-10-01", **parents}
    world.say(world.odile, "particulars_corrected", young.pk, body)
    present(world)

    def found() -> list[object]:
        asked: tuple[dict[str, str], ...] = ({"parent": str(mate.pk)}, {"text": "Zorro"})
        pages = (Api(world.greta).get("/animals", **one).body["items"] for one in asked)
        kept = [one.pk for one in young_seen(world.greta.pk, mate.pk, world.now)]
        return [*([one["id"] for one in page] for page in pages), kept]

    assert Api(world.greta).get(f"/animals/{young.pk}").body[other] is None
    assert found() == [[], [str(mate.pk)], []]
    world.call(world.greta, secret, "male" if role == "sire" else "female", visit=visit)
    by_parent, by_text, of_dam = found()
    assert by_parent == [str(young.pk)]
    assert set(by_text) == {str(mate.pk), str(young.pk)}
    assert of_dam == ([young.pk] if other == "dam" else [])


@pytest.mark.parametrize("settled_before_the_visit", [True, False])
def test_no_examiners_record_tells_a_blind_guest_what_an_animal_was_found_to_be(
    world: World, settled_before_the_visit: bool
) -> None:
    """Stan keeps an animal that Greta called, so its standing rests on her record. Another one
    of hers, which he is to check blind, turns out to be a female that she took for a male:
    nothing that he reads moves, not even in its date, until his own check is made."""
    shelf = create_collection(world.stan, new_id(), "Shelf", world.now)
    own, secret = world.animal("own", room=shelf), world.animal("B-1")
    world.say(world.stan, "grant_given", shelf.pk, {"to": str(world.greta.pk), "role": "partner"})
    world.call(world.greta, own, "female")
    world.call(world.greta, secret, "male", visit=world.visit(world.greta, secret))
    eggs = probing("female", "B-1") | {
        "observed": {"method": "reproduction", "event": "laid_eggs", "witnessed": True}
    }
    world.pass_time(days=4)
    if settled_before_the_visit:
        world.say(world.odile, "call_made", secret.pk, eggs)
        update_examiner_records(world.now)
    visit = world.visit(world.stan, secret, days=60)
    stan = Api(world.stan)

    paths = ("/animals", f"/animals/{own.pk}", f"/animals/{own.pk}/standing",
             f"/animals/{own.pk}/history", f"/examiners/{world.greta.pk}")  # fmt: skip

    def read() -> list[object]:
        """All but how long the log is, which is for anyone to know."""
        return [stan.get(path).body | {"as_of": None} for path in paths]

    present(world)
    before, cursor = read(), stan.get("/changes").body["cursor"]
    if settled_before_the_visit:
        call = secret.calls.get(method="reproduction")
        world.say(world.odile, "call_withdrawn", secret.pk, {"call": str(call.pk)})
    else:
        world.say(world.odile, "call_made", secret.pk, eggs)
    update_examiner_records(world.now)
    assert read() == before
    assert stan.get("/changes", cursor=cursor).body["items"] == []
    world.call(world.stan, secret, "female", visit=visit)
    update_examiner_records(world.now)
    assert read() != before

"""Which animal a check was of, over the API: the tag of a tub, another's transponder, photos."""

from typing import Any

import pytest
from tests.api.client import Api, fact
from tests.pictures import body_of, plain_file
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal
from scalewitness.animals.services import create_collection

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]

EGGS = {"method": "reproduction", "event": "laid_eggs", "witnessed": True}


def called(who: Api, animal: Animal, **more: Any) -> str:
    made = who.post(f"/animals/{animal.pk}/calls", fact(probing("female", "A-1") | more))
    assert made.status == 201, made.body
    return str(made.body["id"])


def pictured(who: Api, animal: Animal, width: int, of: str | None = None) -> str:
    file = plain_file(width, 30)
    made: str = who.post(f"/animals/{animal.pk}/photos", fact(body_of(file, of))).body["id"]
    sent = who.raw("PUT", f"/photos/{made}", file, "image/jpeg")
    assert sent.status == 204
    return made


def test_eggs_in_a_tub_settle_nothing_until_the_animal_is_known(
    world: World, odile: Api, animal: Animal
) -> None:
    """By the tag of its tub they do not; a stranger who compares photos makes them count."""
    stan = Api(world.stan)
    world.view(world.stan, animal)
    earlier = pictured(odile, animal, 40)
    call = called(odile, animal, observed=EGGS)
    assert stan.post(f"/calls/{call}/witness", fact({})).status == 201
    standing = odile.get(f"/animals/{animal.pk}/standing").body
    assert (standing["label"], standing["decisive"]) == ("probable female", False)
    assert any("at most the tag of its tub" in line["text"] for line in standing["lines"])
    body = {"photo": pictured(odile, animal, 50, call), "earlier": earlier}
    own = odile.post(f"/calls/{call}/comparison", fact(body | {"answer": "same"}))
    assert own.status == 403
    said = stan.post(f"/calls/{call}/comparison", fact(body | {"answer": "same"}))
    assert said.status == 201
    shown = odile.get(f"/calls/{call}").body
    assert (shown["identity"], shown["compared"]) == ("tub_tag", "same")
    (one,) = shown["comparisons"]
    assert (one["by"]["name"], one["answer"], one["photo"]) == ("Stan Okoro", "same", body["photo"])
    standing = odile.get(f"/animals/{animal.pk}/standing").body
    assert (standing["label"], standing["decisive"]) == ("verified female", True)
    used = {number["name"] for number in standing["used"]}
    assert "identity.confirmed" in used


def test_another_animal_in_the_photos_takes_that_back(
    world: World, odile: Api, animal: Animal
) -> None:
    test_eggs_in_a_tub_settle_nothing_until_the_animal_is_known(world, odile, animal)
    (call,) = odile.get(f"/animals/{animal.pk}/calls").body["items"]
    before = call["comparisons"][0]
    body = {"photo": before["photo"], "earlier": before["earlier"], "answer": "another"}
    said = Api(world.stan).post(f"/calls/{call['id']}/comparison", fact(body))
    assert said.status == 201
    standing = odile.get(f"/animals/{animal.pk}/standing").body
    assert standing["label"] == "unsexed"
    assert any("another animal was in hand" in line["text"] for line in standing["lines"])


def test_a_check_moves_to_the_animal_whose_transponder_was_read(
    world: World, greta: Api, odile: Api, animal: Animal
) -> None:
    other = world.animal("A-2")
    code, visit = world.chip(other), world.visit(world.greta, animal, other, days=60)
    by = {"by": "transponder", "code": code}
    call = called(greta, animal, identified=by, visit=str(visit))
    assert odile.post(f"/calls/{call}/refiling", fact({})).status == 404
    sent = fact({})
    said = greta.post(f"/calls/{call}/refiling", sent)
    assert said.status == 201
    assert greta.post(f"/calls/{call}/refiling", sent).status == 200, "the same again"
    assert greta.post(f"/calls/{call}/refiling", fact({})).code == "not_now"
    here = odile.get(f"/calls/{call}").body
    assert (here["animal"], here["refiled"], here["weight"]) == (str(animal.pk), True, None)
    (there,) = odile.get(f"/animals/{other.pk}/calls").body["items"]
    assert (there["id"], there["refiles"], there["refiled"]) == (said.body["id"], True, False)
    assert (there["examiner"]["name"], there["blind"]) == ("Greta Lund", True)
    assert there["examined_at"] == here["examined_at"]
    assert there["weight"] is not None


def test_it_tells_a_blind_guest_nothing_of_the_other(
    world: World, greta: Api, odile: Api, animal: Animal
) -> None:
    other = world.animal("A-2")
    called(odile, other, identified={"by": "transponder", "code": world.chip(other)})
    visit = world.visit(world.greta, animal, other, days=60)
    by = {"by": "transponder", "code": world.chip(other)}
    call = called(greta, animal, identified=by, visit=str(visit))
    said = greta.post(f"/calls/{call}/refiling", fact({}))
    assert said.status == 201
    assert greta.get(f"/animals/{other.pk}/calls").status == 404
    own = greta.get(f"/calls/{said.body['id']}").body
    assert (own["sight"], own["animal"]) == ("own", str(other.pk))
    assert not own.keys() & {"standing", "weight", "blind", "counts", "set_aside"}
    sheet = greta.get(f"/visits/{visit}/sheet").body
    assert "female" not in str(sheet)


def test_the_code_of_an_animal_out_of_sight_is_like_one_of_no_animal(
    world: World, greta: Api, animal: Animal
) -> None:
    room = create_collection(world.stan, new_id(world.now), "Elsewhere", world.now)
    hidden = world.animal("S-1", room=room)
    visit = world.visit(world.greta, animal, days=60)
    answers = []
    for code in (world.chip(hidden), "985000077777777"):
        by = {"by": "transponder", "code": code}
        call = called(greta, animal, identified=by, visit=str(visit))
        answer = greta.post(f"/calls/{call}/refiling", fact({}))
        answers.append((answer.status, answer.code, answer.body["title"]))
    assert answers == [(404, "not_found", answers[0][2])] * 2

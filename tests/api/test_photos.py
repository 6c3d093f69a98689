"""Photos over the API: the file as it was said, for those who may see it, of no other kind."""

from hashlib import sha256
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from tests.api.client import BASE, Answer, Api, fact
from tests.pictures import body_of, camera_file, plain_file
from tests.world import World

from scalewitness.animals.models import Animal
from scalewitness.calls.models import Call
from scalewitness.domain.pictures.plain import LARGEST_BYTES

pytestmark = pytest.mark.one_in(4)

FILE = plain_file()


def attach(api: Api, animal: Animal, data: bytes = FILE, of: object = None) -> str:
    answer = api.post(f"/animals/{animal.pk}/photos", fact(body_of(data, of)))
    assert answer.status == 201, answer
    return str(answer.body["id"])


def send(api: Api, photo: str, data: bytes = FILE, kind: str = "image/jpeg") -> Answer:
    return api.raw("PUT", f"/photos/{photo}", data, kind)


def download(api: Api, photo: str) -> Any:
    return Client().get(f"{BASE}/photos/{photo}", headers=api.headers)


def test_the_file_comes_back_as_the_log_names_it(odile: Api, animal: Animal) -> None:
    photo = attach(odile, animal)
    assert odile.get(f"/photos/{photo}").status == 404
    assert (send(odile, photo).status, send(odile, photo).status) == (204, 204)
    answer = download(odile, photo)
    assert sha256(answer.content).hexdigest() == body_of(FILE)["sha256"]
    assert answer.headers["Content-Type"] == "image/jpeg"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"] == "private, no-store"


def test_what_is_not_the_file(odile: Api, animal: Animal) -> None:
    told = camera_file()
    for said, sent in ((FILE, plain_file(61, 40)), (told, told), (FILE, b"")):
        answer = send(odile, attach(odile, animal, said), sent)
        assert (answer.status, answer.code) == (422, "not_the_file")


def test_more_than_a_photo_may_have(odile: Api, animal: Animal) -> None:
    answer = send(odile, attach(odile, animal), b"x" * (LARGEST_BYTES + 1))
    assert (answer.status, answer.code) == (413, "too_large")


@pytest.mark.parametrize("kind", ["application/json", "image/png", "multipart/form-data", ""])
def test_anything_but_a_jpeg(odile: Api, animal: Animal, kind: str) -> None:
    answer = send(odile, attach(odile, animal), b"{}", kind)
    assert (answer.status, answer.code) == (415, "unsupported_media_type")


def test_json_is_still_all_that_others_take(odile: Api) -> None:
    answer = odile.raw("POST", "/push", FILE, "image/jpeg")
    assert (answer.status, answer.code) == (415, "unsupported_media_type")


def test_a_photo_that_is_none(odile: Api) -> None:
    for answer in (send(odile, str(uuid4())), odile.get(f"/photos/{uuid4()}")):
        assert (answer.status, answer.code) == (404, "not_found")


def test_a_blind_guest_sees_no_photo_of_another_call(
    world: World, odile: Api, greta: Api, animal: Animal
) -> None:
    """Neither the picture nor, in the feed, that there is one."""
    world.now = timezone.now()
    call = world.call(world.odile, animal, "male")
    photo = attach(odile, animal, of=call.id)
    send(odile, photo)
    visit = world.visit(world.greta, animal)
    assert greta.get(f"/photos/{photo}").status == 404
    assert photo not in str(greta.get("/changes").body)
    world.call(world.greta, animal, "male", visit=visit)
    assert download(greta, photo).status_code == 200
    own = Call.objects.get(by=world.greta.pk)
    assert send(greta, attach(greta, animal, of=own.pk)).status == 204


def test_no_grant_no_photo(world: World, odile: Api, pim: Api, animal: Animal) -> None:
    world.now = timezone.now()
    photo = attach(odile, animal)
    send(odile, photo)
    grant = world.make_partner(world.pim)
    assert download(pim, photo).status_code == 200
    world.say(world.odile, "grant_revoked", world.collection.pk, {"grant": str(grant)})
    assert download(pim, photo).status_code == 404


def test_an_erased_photo_is_gone_and_its_receipt_holds(odile: Api, animal: Animal) -> None:
    photo = attach(odile, animal)
    send(odile, photo)
    assert odile.delete(f"/facts/{photo}/texts").status == 204
    assert odile.get(f"/photos/{photo}").status == 404
    assert odile.get(f"/receipts/{photo}").status == 200

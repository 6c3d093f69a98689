"""Photos: who may attach one, whose it is, and that the file is the one that was said."""

from hashlib import sha256
from uuid import UUID

import pytest
from django.db import transaction
from tests.intake.test_erasure import fsck
from tests.pictures import body_of, camera_file, plain_file
from tests.world import World, new_id, probing

from scalewitness.animals.models import Animal, Photo, PhotoFile
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.domain.errors import NotFound, NotTheFile, Refused
from scalewitness.domain.translog.canonical import parse_strict
from scalewitness.intake.batch import Actor
from scalewitness.intake.erasure import close_account, erase_own_texts
from scalewitness.intake.rules.photos import MOST_OF_A_CALL, take_photo_file
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper

pytestmark = [pytest.mark.django_db, pytest.mark.one_in(4)]
FILE = plain_file()


@pytest.fixture
def animal(world: World) -> Animal:
    return world.animal("F1")


def attach(world: World, who: Keeper, animal: Animal, data: bytes = FILE, of: object = None) -> str:
    outcome = world.say(who, "photo_attached", animal.pk, body_of(data, of))
    assert outcome.status == "accepted"
    return str(outcome.id)


def refusal(world: World, who: Keeper, animal: Animal, of: object = None) -> str:
    with pytest.raises(Refused) as error, transaction.atomic():
        attach(world, who, animal, of=of)
    code: str = error.value.as_problem()["code"]
    return code


def send(world: World, who: Keeper, photo: str, data: bytes = FILE) -> None:
    take_photo_file(Photo.objects.get(pk=photo).pk, data, Actor(keeper=who.pk), world.now)


def test_the_log_has_the_fingerprint_before_the_file_comes(world: World, animal: Animal) -> None:
    photo = attach(world, world.odile, animal)
    leaf = parse_strict(bytes(Entry.objects.get(fact=photo).leaf), 10_000)
    assert isinstance(leaf, dict)
    assert leaf["body"] == {"sha256": sha256(FILE).hexdigest(), "size": len(FILE)}
    assert photo_file(Photo.objects.get().pk) is None
    send(world, world.odile, photo)
    send(world, world.odile, photo)
    assert photo_file(Photo.objects.get().pk) == FILE
    assert PhotoFile.objects.count() == 1


def test_another_file_is_not_taken(world: World, animal: Animal) -> None:
    photo = attach(world, world.odile, animal)
    for data in (plain_file(61, 40), FILE[:-1], FILE + b"x", b""):
        with pytest.raises(NotTheFile):
            send(world, world.odile, photo, data)
    assert not PhotoFile.objects.exists()


def test_a_file_that_tells_where_it_was_taken_is_not_taken(world: World, animal: Animal) -> None:
    told = camera_file()
    photo = attach(world, world.odile, animal, told)
    with pytest.raises(NotTheFile) as error:
        send(world, world.odile, photo, told)
    assert error.value.detail == (
        "The file holds more than its picture, perhaps where it was taken."
    )
    assert not PhotoFile.objects.exists()


def test_nobody_else_sends_the_file(world: World, animal: Animal) -> None:
    photo = attach(world, world.odile, animal)
    world.make_partner(world.pim)
    for who in (world.pim, world.stan):
        with pytest.raises(NotFound):
            send(world, who, photo)


def test_a_guest_shows_their_own_call_and_nothing_else(world: World, animal: Animal) -> None:
    theirs = world.call(world.odile, animal, "male")
    visit = world.visit(world.greta, animal)
    assert refusal(world, world.greta, animal) == "not_found"
    assert refusal(world, world.greta, animal, of=theirs.id) == "not_found"
    own = world.call(world.greta, animal, "male", visit=visit)
    attach(world, world.greta, animal, of=own.id)
    assert refusal(world, world.greta, animal) == "not_found"
    assert refusal(world, world.stan, animal, of=own.id) == "not_found"
    assert refusal(world, world.greta, world.animal("F2"), of=own.id) == "not_found"


def test_call_and_photo_may_come_in_one_batch_and_after_the_visit(
    world: World, animal: Animal
) -> None:
    visit = world.visit(world.greta, animal, days=1)
    body = probing("male", "F1") | {"visit": str(visit)}
    call = world.item("call_made", animal.pk, body)
    photo = world.item("photo_attached", animal.pk, body_of(FILE, call["id"]))
    world.pass_time(days=3)
    outcomes = accept([call, photo], Actor(keeper=world.greta.pk), world.now)
    assert [one.status for one in outcomes] == ["accepted", "accepted"]
    assert str(Photo.objects.get().call) == call["id"]


def test_there_are_only_so_many_of_a_call(world: World, animal: Animal) -> None:
    call = world.call(world.odile, animal, "male")
    for number in range(MOST_OF_A_CALL):
        attach(world, world.odile, animal, plain_file(20 + number, 20), of=call.id)
    assert refusal(world, world.odile, animal, of=call.id) == "out_of_range"
    attach(world, world.odile, animal)


def test_a_photo_of_a_call_that_waits_for_the_host_waits_too(world: World, animal: Animal) -> None:
    visit = world.visit(world.greta, animal, days=1)
    at = world.now
    world.pass_time(days=20)
    body = probing("male", "F1") | {"visit": str(visit)}
    held = world.say(world.greta, "call_made", animal.pk, body, at=at)
    assert held.status == "held"
    data = plain_file(20, 20)
    item = world.item("photo_attached", animal.pk, body_of(data, of=held.id))
    sent = world.push(world.greta, item, item)
    assert [one.status for one in sent] == ["held", "held"], "asked after, it waits still"
    for number in range(MOST_OF_A_CALL - 1):
        more = body_of(plain_file(21 + number, 20), of=held.id)
        world.say(world.greta, "photo_attached", animal.pk, more)
    assert refusal(world, world.greta, animal, of=held.id) == "out_of_range"
    assert not Photo.objects.exists()
    decision = {"held": held.id, "admitted": True}
    world.say(world.odile, "late_call_decided", animal.pk, decision)
    photos = Photo.objects.filter(call=UUID(held.id or ""), by=world.greta.pk)
    assert photos.count() == MOST_OF_A_CALL
    (now,) = world.push(world.greta, item)
    assert (now.status, now.position) == ("duplicate", photos.get(pk=item["id"]).position)
    take_photo_file(UUID(item["id"]), data, Actor(keeper=world.greta.pk), world.now)
    assert "no difference" in fsck()


def test_a_call_that_the_host_did_not_admit_has_no_photo(world: World, animal: Animal) -> None:
    visit = world.visit(world.greta, animal, days=1)
    at = world.now
    world.pass_time(days=20)
    body = probing("male", "F1") | {"visit": str(visit)}
    held = world.say(world.greta, "call_made", animal.pk, body, at=at)
    item = world.item("photo_attached", animal.pk, body_of(plain_file(20, 20), of=held.id))
    assert [one.status for one in world.push(world.greta, item)] == ["held"]
    decision = {"held": held.id, "admitted": False}
    world.say(world.odile, "late_call_decided", animal.pk, decision)
    (now,) = world.push(world.greta, item)
    assert now.problem is not None
    assert now.problem["code"] == "not_allowed"
    assert refusal(world, world.greta, animal, of=held.id) == "not_allowed"


def test_a_file_can_be_erased_and_its_fingerprint_stays(world: World, animal: Animal) -> None:
    photo = attach(world, world.odile, animal)
    send(world, world.odile, photo)
    pk = Photo.objects.get().pk
    with pytest.raises(NotFound):
        erase_own_texts(pk, Actor(keeper=world.pim.pk), world.now)
    assert erase_own_texts(pk, Actor(keeper=world.odile.pk), world.now) == 1
    assert photo_file(pk) is None
    assert Photo.objects.filter(pk=pk).exists()


def test_photos_go_with_everything_one_wrote(world: World, animal: Animal) -> None:
    visit = world.visit(world.greta, animal)
    call = world.call(world.greta, animal, "male", visit=visit)
    send(world, world.greta, attach(world, world.greta, animal, of=call.id))
    send(world, world.odile, attach(world, world.odile, animal))
    close_account(world.greta, world.now, texts=True)
    assert [file.photo.by for file in PhotoFile.objects.all()] == [world.odile.pk]


def test_a_photo_of_nothing_on_record(world: World, animal: Animal) -> None:
    assert refusal(world, world.odile, animal, of=new_id(world.now)) == "not_found"

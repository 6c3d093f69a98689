"""Erasing a photo reaches the bucket, with every copy and version, and nobody else's photo."""

from datetime import timedelta
from uuid import UUID

import pytest
from tests.object_store.conftest import Store, photo_of
from tests.object_store.test_moving import fsck
from tests.pictures import body_of, plain_file
from tests.world import World

from scalewitness.animals.models import Animal, PhotoErasure
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.animals.services.photo_files import sweep
from scalewitness.animals.tasks import keep_bucket, sweep_bucket
from scalewitness.domain.errors import NotFound
from scalewitness.intake.batch import Actor
from scalewitness.intake.closing import close_books
from scalewitness.intake.erasure import close_account, erase_own_texts
from scalewitness.intake.rules.photos import take_photo_file


def erase(world: World, photo: UUID) -> None:
    assert erase_own_texts(photo, Actor(keeper=world.odile.pk), world.now) == 1


@pytest.mark.parametrize("versioned", [False, True])
def test_an_erased_photo_leaves_the_bucket_with_all_its_copies(
    world: World, animal: Animal, store: Store, versioned: bool
) -> None:
    if versioned:
        enabled = {"Status": "Enabled"}
        store.client.put_bucket_versioning(Bucket=store.name, VersioningConfiguration=enabled)
    photo = photo_of(world, animal)
    assert close_books(world.now) is not None
    keep_bucket()
    (key,) = store.names()
    store.alter(key.rpartition("/")[0] + f"/{UUID(int=7)}", plain_file())  # a move cut off
    store.alter(key, plain_file())
    erase(world, photo)
    assert photo_file(photo) is None
    keep_bucket()
    assert store.names() == []
    left = store.client.list_object_versions(Bucket=store.name)
    assert not left.get("Versions")
    assert not left.get("DeleteMarkers")
    assert PhotoErasure.objects.get(pk=photo).cleared_at is not None
    assert "no difference" in fsck()


def test_an_erased_photo_does_not_arrive_again(world: World, animal: Animal) -> None:
    """Neither from a phone that sends it once more, nor one that was on its way."""
    photo = photo_of(world, animal)
    assert close_books(world.now) is not None
    erase(world, photo)
    with pytest.raises(NotFound):
        take_photo_file(photo, plain_file(), Actor(keeper=world.odile.pk), world.now)
    said = world.say(world.odile, "photo_attached", animal.pk, body_of(plain_file(61)))
    assert erase_own_texts(UUID(said.id), Actor(keeper=world.odile.pk), world.now) == 0
    with pytest.raises(NotFound):
        take_photo_file(UUID(said.id), plain_file(61), Actor(keeper=world.odile.pk), world.now)
    assert "no difference" in fsck()


def test_two_keepers_with_the_same_photo(world: World, animal: Animal, store: Store) -> None:
    """Whoever erases theirs takes nobody else's."""
    visit = world.visit(world.greta, animal)
    call = world.call(world.greta, animal, "male", visit=visit)
    file = body_of(plain_file(), of=call.id)
    hers = UUID(world.say(world.greta, "photo_attached", animal.pk, file).id)
    take_photo_file(hers, plain_file(), Actor(keeper=world.greta.pk), world.now)
    his = photo_of(world, animal)
    keep_bucket()
    assert len(store.names()) == 2
    assert len({one.split("/")[1] for one in store.names()}) == 1
    close_account(world.greta, world.now, texts=True)
    keep_bucket()
    assert (photo_file(hers), photo_file(his)) == (None, plain_file())
    (key,) = store.names()
    assert str(his) in key


def test_what_no_photo_refers_to_goes_when_no_backup_can(
    world: World, animal: Animal, store: Store, settings: object
) -> None:
    photo = photo_of(world, animal)
    keep_bucket()
    (kept,) = store.names()
    orphan = kept.rpartition("/")[0] + f"/{UUID(int=7)}"
    for key in (orphan, "photos/a-note", "other/thing"):
        store.alter(key, b"left behind")
    from django.utils import timezone

    assert (sweep(timezone.now()).deleted, len(store.names())) == (0, 4)
    later = timezone.now() + timedelta(days=36)
    assert sweep(later).deleted == 1
    assert sorted(store.names()) == sorted([kept, "other/thing", "photos/a-note"])
    assert photo_file(photo) == plain_file()


def test_what_is_left_of_an_erased_photo_goes_at_once(
    world: World, animal: Animal, store: Store
) -> None:
    """Such as what a move left that was killed while somebody erased the photo."""
    photo = photo_of(world, animal)
    keep_bucket()
    (key,) = store.names()
    erase(world, photo)
    keep_bucket()
    store.alter(key, plain_file())
    sweep_bucket()
    assert store.names() == []

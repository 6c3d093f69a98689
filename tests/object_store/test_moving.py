"""Photos' files move into the bucket and back, and nothing is lost or doubled on the way."""

from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from tests.object_store.conftest import Store, in_bucket, photo_of
from tests.pictures import body_of, plain_file
from tests.world import World

from scalewitness.animals.models import Animal, PhotoFile
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.animals.services import photo_files
from scalewitness.animals.tasks import keep_bucket
from scalewitness.intake.closing import close_books
from scalewitness.ledger.services.fencing import raise_fence

pytestmark = pytest.mark.one_in(2)


def fsck() -> str:
    out = StringIO()
    call_command("fsck", stdout=out)
    return out.getvalue()


def move(to: str) -> str:
    out = StringIO()
    call_command("move_photos", "--to", to, stdout=out, stderr=out)
    return out.getvalue()


def test_a_file_arrives_in_the_database_and_the_worker_moves_it(
    world: World, animal: Animal, store: Store
) -> None:
    photo = photo_of(world, animal)
    assert (in_bucket(), store.names()) == (0, [])
    keep_bucket()
    (key,) = store.names()
    row = PhotoFile.objects.get()
    assert row.data is None
    assert key == f"photos/{body_of(plain_file())['sha256']}/{photo}/{row.object}"
    assert photo_file(photo) == plain_file()
    keep_bucket()
    assert store.names() == [key]
    assert "no difference" in fsck()


def test_there_and_back_again_and_each_only_once(
    world: World, animal: Animal, store: Store, settings: Any
) -> None:
    photos = [photo_of(world, animal, width) for width in (60, 61, 62)]
    assert close_books(world.now) is not None
    assert "3 files moved" in move("objects")
    assert "0 files moved" in move("objects")
    assert (in_bucket(), len(store.names())) == (3, 3)
    settings.PHOTO_STORAGE = "database"
    assert "3 files moved" in move("database")
    assert "0 files moved" in move("database")
    assert (in_bucket(), len(store.names())) == (0, 3)  # backups may refer to them
    assert [photo_file(one) for one in photos] == [plain_file(one) for one in (60, 61, 62)]
    assert "no difference" in fsck()


def test_a_page_of_files_and_more(
    world: World, animal: Animal, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photo_files, "PAGE", 2)
    for width in range(40, 45):
        photo_of(world, animal, width)
    assert "5 files moved" in move("objects")
    assert in_bucket() == 5


def test_against_the_way_that_new_files_go_nothing_is_moved(
    world: World, animal: Animal, store: Store
) -> None:
    photo_of(world, animal)
    with pytest.raises(CommandError, match="PHOTO_STORAGE=database first"):
        move("database")


def test_without_a_bucket_there_is_nowhere_to_move(world: World) -> None:
    keep_bucket()
    with pytest.raises(CommandError, match="AWS_STORAGE_BUCKET_NAME"):
        move("objects")


def test_what_is_not_what_the_log_says_stays_where_it_is(
    world: World, animal: Animal, store: Store
) -> None:
    altered, sound = photo_of(world, animal, 60), photo_of(world, animal, 61)
    PhotoFile.objects.filter(pk=altered).update(data=b"another")
    with pytest.raises(CommandError, match="1 files stay"):
        move("objects")
    assert PhotoFile.objects.get(pk=altered).object is None
    assert PhotoFile.objects.get(pk=sound).data is None
    keep_bucket()


@pytest.mark.parametrize("lost", [False, True])
def test_nothing_wrong_or_missing_is_taken_back(
    world: World, animal: Animal, store: Store, settings: Any, lost: bool
) -> None:
    photo_of(world, animal)
    keep_bucket()
    (key,) = store.names()
    store.lose(key) if lost else store.alter(key, b"another")
    settings.PHOTO_STORAGE = "database"
    with pytest.raises(CommandError, match="1 files stay"):
        move("database")
    assert in_bucket() == 1


def test_an_object_that_took_too_long_is_not_referred_to(
    world: World, animal: Animal, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that stood still for days might refer to what was swept meanwhile."""
    photo = photo_of(world, animal)
    monkeypatch.setattr(photo_files, "REFERRED_WITHIN", -photo_files.REFERRED_WITHIN)
    keep_bucket()
    assert (in_bucket(), store.names()) == (0, [])
    assert photo_file(photo) == plain_file()


def test_a_copy_under_a_fence_leaves_the_bucket_alone(
    world: World, animal: Animal, store: Store
) -> None:
    photo_of(world, animal)
    raise_fence("restored", world.now)
    keep_bucket()
    assert (in_bucket(), store.names()) == (0, [])

"""``fsck`` reads every object, misses none, and names what lies in the bucket besides."""

from contextlib import suppress
from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from tests.object_store.conftest import Store, photo_of
from tests.pictures import plain_file
from tests.world import World

from scalewitness.animals.models import Animal, PhotoErasure
from scalewitness.animals.queries.photo_files import InBucket
from scalewitness.animals.tasks import keep_bucket
from scalewitness.fsck import objects
from scalewitness.fsck.objects import beside
from scalewitness.intake.batch import Actor
from scalewitness.intake.erasure import erase_own_texts
from scalewitness.ledger.models import Entry
from scalewitness.object_store import StoredObject


def fsck(*options: str) -> str:
    written = StringIO()
    with suppress(CommandError):
        call_command("fsck", *options, stdout=written, stderr=written)
    return written.getvalue()


@pytest.fixture
def photo(world: World, animal: Animal, store: Store) -> UUID:
    photo = photo_of(world, animal)
    keep_bucket()
    return photo


@pytest.mark.parametrize("part", ["log", "objects"])
def test_an_object_that_is_missing(photo: UUID, store: Store, part: str) -> None:
    (key,) = store.names()
    store.lose(key)
    position = Entry.objects.get(fact=photo).position
    assert f"first difference: position {position}: animals_photofile" in fsck("--only", part)


def test_an_object_of_other_bytes(photo: UUID, store: Store) -> None:
    (key,) = store.names()
    same_size = plain_file()[:-3] + b"\0" + plain_file()[-2:]
    store.alter(key, same_size)
    assert "not the file that the entry names" in fsck("--only", "log")
    assert "no difference" in fsck("--only", "objects")
    store.alter(key, b"short")
    assert "not in its size" in fsck("--only", "objects")


def test_since_it_was_checked_last_an_object_went(
    photo: UUID, store: Store, tmp_path: Path
) -> None:
    kept = str(tmp_path / "sound")
    assert "no difference" in fsck("--since", kept)
    (key,) = store.names()
    store.lose(key)
    assert "does not list its object" in fsck("--since", kept)


def test_what_belongs_to_no_photo_is_counted(
    photo: UUID, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    (key,) = store.names()
    other = key.rpartition("/")[0] + f"/{UUID(int=7)}"
    store.alter(other, plain_file())
    assert "belong to no photo" not in fsck()  # it may just be on its way
    monkeypatch.setattr(objects, "UNDER_WAY", -timedelta(hours=1))
    said = fsck()
    assert "1 objects in the bucket belong to no photo" in said
    assert f"\n{other}\n" in said
    assert "no difference" in said


def test_what_was_erased_and_is_still_there(
    photo: UUID, world: World, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    erase_own_texts(photo, Actor(keeper=world.odile.pk), world.now)
    monkeypatch.setattr(objects, "UNDER_WAY", -timedelta(hours=1))
    owed = fsck("--only", "objects")
    assert "was not seen to let go" in owed
    PhotoErasure.objects.update(cleared_at=timezone.now())
    assert "erased, and still in the bucket" in fsck("--only", "objects")
    store.lose(store.names()[0])
    assert "no difference" in fsck("--only", "objects")


def test_a_bucket_that_is_not_set_any_more(photo: UUID, settings: Any) -> None:
    settings.AWS_STORAGE_BUCKET_NAME = ""
    with pytest.raises(CommandError, match="does not answer"):
        call_command("fsck", stdout=StringIO(), stderr=StringIO())


def test_rows_and_objects_are_laid_side_by_side() -> None:
    rows = [InBucket(UUID(int=n), "ab", 1, UUID(int=n)) for n in (1, 2, 4)]
    there = [InBucket(UUID(int=n), "ab", 1, UUID(int=n)).key for n in (0, 2, 3, 4, 5)]
    listed = [StoredObject(key, 1, timezone.now()) for key in there]
    pairs = [
        (row and row.photo.int, one and one.key[-1])
        for row, one in beside(iter(rows), iter(listed))
    ]
    assert pairs == [(None, "0"), (1, None), (2, "2"), (None, "3"), (4, "4"), (None, "5")]

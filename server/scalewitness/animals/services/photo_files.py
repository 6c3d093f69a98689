"""Photos' files: taken in, erased, and moved between the database and the bucket.

Every file arrives in the database, in one transaction: what was acknowledged is as durable as a
fact, also while the store is away. A move copies it, reads the copy back, and only then lets go of
the first. Nothing here asks the store inside a transaction.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import islice
from typing import Final, Literal, TypeAlias
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import QuerySet

from scalewitness.animals.models import Photo, PhotoErasure, PhotoFile
from scalewitness.animals.queries.photo_files import (
    OBJECTS,
    Altered,
    InBucket,
    bucket,
    key_of_photo,
    place_of,
    read_object,
)
from scalewitness.domain.errors import FilesAway, NotFound
from scalewitness.fresh_ids import fresh_id
from scalewitness.object_store import Missing, StoredObject

Place: TypeAlias = Literal["objects", "database"]
ARRIVING: Final = 0xF11E
"""PostgreSQL's lock between a file that arrives and an erasure: many may arrive at once."""
REFERRED_WITHIN: Final = timedelta(minutes=10)
"""Of an object that was put there, until a row refers to it; later none may any more. Far below the
shortest time for which objects without a photo are kept, by whatever clocks."""
PAGE: Final = 500


def store_photo_file(photo: Photo, data: bytes, now: datetime) -> None:
    """Keep the file; one that is there already stays.

    Raises:
        NotFound: it was erased, and does not come back.
    """
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock_shared(%s)", [ARRIVING])
        if PhotoErasure.objects.filter(pk=photo.pk).exists():
            raise NotFound("The photo was erased.")
        row = PhotoFile(photo=photo, data=data, arrived_at=now)
        PhotoFile.objects.bulk_create([row], ignore_conflicts=True)


def erase_photo_files(photos: QuerySet[Photo], now: datetime) -> int:
    """Delete the files of photos, also one that is still on its way; how many there were. Their
    fingerprints stay in the log. The worker deletes what is in the bucket."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [ARRIVING])
    gone = [PhotoErasure(photo_id=pk, at=now) for pk in photos.values_list("pk", flat=True)]
    PhotoErasure.objects.bulk_create(gone, ignore_conflicts=True)
    deleted, _ = PhotoFile.objects.filter(photo__in=[one.pk for one in gone]).delete()
    return deleted


def moved(to: Place, now: Callable[[], datetime]) -> Iterator[tuple[UUID, str | None]]:
    """Move all files there, one after the other; of each, what kept it from being moved. What is
    stopped at any point is gone on with by the next run.

    Raises:
        FilesAway: the store does not answer.
    """
    move, last = MOVES[to], UUID(int=0)
    while True:
        rows = PhotoFile.objects.filter(pk__gt=last, **{f"{AWAY_FROM[to]}__isnull": False})
        page = list(rows.order_by("pk").values_list("pk", flat=True)[:PAGE])
        if not page:
            return
        for photo in page:
            yield photo, move(photo, now())
        last = page[-1]


def _into_bucket(photo: UUID, now: datetime) -> str | None:
    found = PhotoFile.objects.select_related("photo").filter(pk=photo, data__isnull=False).first()
    if found is None or found.data is None:
        return None
    data, fact = bytes(found.data), found.photo
    if sha256(data).hexdigest() != fact.sha256:
        return "the database holds other bytes than the log says"
    place, begun = InBucket(photo, fact.sha256, fact.size, fresh_id(now)), _clock()
    bucket().put(place.key, data, fact.sha256)
    with connection.cursor() as cursor:
        cursor.execute(REFER, [place.object, photo, begun + REFERRED_WITHIN])
        referred = cursor.rowcount
    if not referred:  # it was erased meanwhile, or moved by another
        bucket().remove(place.key)
    return None


REFER: Final = """
UPDATE animals_photofile SET data = NULL, object = %s
WHERE photo_id = %s AND data IS NOT NULL AND clock_timestamp() < %s
"""


def _clock() -> datetime:
    """PostgreSQL's own, by which it is judged whether a row may still refer to an object."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT clock_timestamp()")
        now: datetime = cursor.fetchone()[0]
        return now


def _into_database(photo: UUID, now: datetime) -> str | None:
    place = place_of(photo)
    if not isinstance(place, InBucket):
        return None
    try:
        data = read_object(place)
    except Missing:
        return "its object is missing"
    except Altered:
        return "its object holds other bytes than the log says"
    here = PhotoFile.objects.filter(pk=photo, object=place.object)
    here.update(data=data, object=None)  # the object stays for backups that refer to it
    return None


MOVES: Final[dict[Place, Callable[[UUID, datetime], str | None]]] = {
    "objects": _into_bucket,
    "database": _into_database,
}
AWAY_FROM: Final[dict[Place, str]] = {"objects": "data", "database": "object"}


def clear_erased(now: datetime) -> None:
    """Delete what the bucket still holds of erased photos. In any order, so that one that the store
    does not let go of does not keep the others there for ever.

    Raises:
        FilesAway: the store does not answer, or does not let go of one.
    """
    owed = PhotoErasure.objects.filter(cleared_at=None)
    for fingerprint, photo in owed.order_by("?").values_list("photo__sha256", "photo")[:PAGE]:
        bucket().remove(key_of_photo(fingerprint, photo))
        owed.filter(pk=photo).update(cleared_at=now)


@dataclass
class Swept:
    """Objects that no photo refers to: how many were deleted, how many wait to be."""

    deleted: int = 0
    kept: int = 0


def sweep(now: datetime) -> Swept:
    """Delete objects that no photo has referred to for long, and at once those of erased photos.
    What lies in the bucket under other names is left alone.

    Raises:
        FilesAway: the store does not answer.
    """
    swept, objects = Swept(), bucket().listed(OBJECTS)
    until = now - timedelta(days=settings.PHOTO_OBJECTS_KEPT_DAYS)
    while page := list(islice(objects, PAGE)):
        for one, erased in orphans(page):
            gone = (erased or one.since < until) and _removed(one.key)
            swept.deleted, swept.kept = swept.deleted + gone, swept.kept + (not gone)
    return swept


def _removed(key: str) -> bool:
    """Whether the store let go of it."""
    try:
        bucket().remove(key)
    except FilesAway:
        return False
    return True


def orphans(page: Iterable[StoredObject]) -> Iterator[tuple[StoredObject, bool]]:
    """Of these objects those that no photo refers to, and whether the photo was erased."""
    ids = {one: found for one in page if (found := _ids(one.key))}
    used = PhotoFile.objects.filter(object__in=[object for _, object in ids.values()])
    erased = PhotoErasure.objects.filter(pk__in=[photo for photo, _ in ids.values()])
    referred = set(used.values_list("object", flat=True))
    gone = set(erased.values_list("pk", flat=True))
    for one, (photo, object) in ids.items():
        if object not in referred:
            yield one, photo in gone


def _ids(key: str) -> tuple[UUID, UUID] | None:
    """Photo and object that a key names."""
    parts = key.removeprefix(OBJECTS).split("/")
    try:
        return (UUID(parts[1]), UUID(parts[2])) if len(parts) == 3 else None
    except ValueError:
        return None

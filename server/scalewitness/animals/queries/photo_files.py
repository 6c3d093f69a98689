"""Photos' files: in the database, or in the bucket."""

from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any, Final, NamedTuple
from uuid import UUID

import structlog
from django.conf import settings
from django.core.files.storage import storages
from django.db.models import QuerySet
from django.db.models.functions import Collate

from scalewitness.animals.models import PhotoErasure, PhotoFile
from scalewitness.domain.errors import FilesAway
from scalewitness.object_store import Missing

log = structlog.get_logger()

OBJECTS: Final = "photos/"
"""What the keys of all photos begin with."""
OVERDUE: Final = timedelta(hours=1)
"""The worker looks every ten seconds (our judgement)."""


class Altered(Exception):
    """The object holds other bytes than the log says."""


class InBucket(NamedTuple):
    """A photo's file in the bucket. ``sha256`` (hex) and ``size`` are what the log says of it."""

    photo: UUID
    sha256: str
    size: int
    object: UUID

    @property
    def key(self) -> str:
        return f"{key_of_photo(self.sha256, self.photo)}{self.object}"


def key_of_photo(sha256: str, photo: UUID) -> str:
    """What the keys of all objects of a photo begin with. They are addressed by what they hold, and
    no two photos share one: whoever erases theirs takes nobody else's, and nobody learns by
    sending a file whether it is there."""
    return f"{OBJECTS}{sha256}/{photo}/"


def has_bucket() -> bool:
    return bool(settings.AWS_STORAGE_BUCKET_NAME)


def bucket() -> Any:
    """The bucket (`object_store.bucket.ObjectBucket`).

    Raises:
        FilesAway: none is set, though something is said to be in it.
    """
    if not has_bucket():
        raise FilesAway("no_bucket")
    return storages["photos"]


def photo_file(photo: UUID) -> bytes | None:
    """The file of a photo, None where it has not arrived or was erased.

    Raises:
        FilesAway: it is in the bucket, which does not answer, or not with this file.
    """
    found = place_of(photo)
    if found is None or isinstance(found, bytes):
        return found
    try:
        return read_object(found)
    except (Missing, Altered) as fault:
        again = place_of(photo)  # it may just have been erased, or moved
        if isinstance(again, InBucket):
            log.error("photo_object", photo=str(photo), fault=type(fault).__name__.lower())
            raise FilesAway("photo_object") from None
        return again


def read_object(of: InBucket) -> bytes:
    """The file in the bucket, by its fingerprint.

    Raises:
        Missing, Altered: what is wrong with it.
        FilesAway: the store does not answer.
    """
    data: bytes = bucket().read(of.key, of.size)
    if sha256(data).hexdigest() != of.sha256:
        raise Altered()
    return data


def place_of(photo: UUID) -> InBucket | bytes | None:
    """The file itself where it is in the database; None: it has not arrived, or was erased."""
    row = PhotoFile.objects.select_related("photo").filter(pk=photo).first()
    if row is None:
        return None
    if row.object is None:
        return bytes(row.data or b"")
    return InBucket(photo, row.photo.sha256, row.photo.size, row.object)


def has_photo_file(photo: UUID) -> bool:
    return PhotoFile.objects.filter(pk=photo).exists()


def rows_in_bucket() -> QuerySet[PhotoFile, Any]:
    """As `InBucket` has them, in the order in which a bucket lists their keys."""
    rows = PhotoFile.objects.filter(object__isnull=False)
    in_order = rows.order_by(Collate("photo__sha256", "C"), "photo")
    return in_order.values_list("photo", "photo__sha256", "photo__size", "object")


def overdue(now: datetime) -> tuple[int, int]:
    """Files that wait in the database to be moved, and erased photos of which the bucket is not
    cleared, each for longer than `OVERDUE`."""
    if not has_bucket():
        return 0, 0
    arrived = PhotoFile.objects.filter(data__isnull=False, arrived_at__lt=now - OVERDUE)
    owed = PhotoErasure.objects.filter(cleared_at=None, at__lt=now - OVERDUE)
    return arrived.count() if settings.PHOTO_STORAGE == "objects" else 0, owed.count()

"""Photos' files in the bucket: each is there with its fingerprint, what was erased is gone, and
what lies there besides is counted."""

from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta
from itertools import chain, islice

import msgspec

from scalewitness.animals.models import PhotoErasure, PhotoFile
from scalewitness.animals.queries.photo_files import (
    OBJECTS,
    Altered,
    InBucket,
    bucket,
    has_bucket,
    place_of,
    read_object,
    rows_in_bucket,
)
from scalewitness.animals.services.photo_files import orphans
from scalewitness.fsck.reading import LoggedFact
from scalewitness.fsck.report import Difference
from scalewitness.ledger.models import Entry
from scalewitness.object_store import Missing, StoredObject

FILES = PhotoFile._meta.db_table
ERASURES = PhotoErasure._meta.db_table
AT_ONCE = 1000
UNDER_WAY = timedelta(hours=1)
"""What is younger may be a file that is being moved, or an erasure that the worker is about to
carry out."""


MOST_NAMED = 20


class Unreferred(msgspec.Struct):
    """Objects that no photo refers to: how many, since when the oldest is there, and the first."""

    count: int = 0
    oldest: datetime | None = None
    keys: list[str] = msgspec.field(default_factory=list)

    def note(self, one: StoredObject) -> None:
        self.count += 1
        self.oldest = min(one.since, self.oldest or one.since)
        if len(self.keys) < MOST_NAMED:
            self.keys.append(one.key)


def files_in_bucket(facts: Iterable[LoggedFact]) -> list[tuple[int, InBucket]]:
    """Which files of these facts are there, each with its entry's position."""
    photos = {one.id: one for one in facts if one.kind == "photo_attached"}
    rows = PhotoFile.objects.filter(pk__in=list(photos)).values_list("pk", "object")
    return [
        (one.position, InBucket(one.id, one.raw["sha256"], one.raw["size"], object))
        for one, object in ((photos[pk], object) for pk, object in rows)
        if object is not None
    ]


def check_objects(files: Iterable[tuple[int, InBucket]]) -> Iterator[Difference]:
    """Reads each, in no snapshot: one that was erased or moved meanwhile is none of theirs."""
    for position, one in files:
        try:
            read_object(one)
        except Missing:
            what = "its object is missing from the bucket"
        except Altered:
            what = "the object is not the file that the entry names"
        else:
            continue
        if place_of(one.photo) == one:
            yield Difference(FILES, position, what)


def check_bucket(now: datetime, others: Unreferred) -> Iterator[Difference]:
    """Every file that a row says is there is listed in its size, whenever it was read last; no
    bytes are read. Notes ``others``.

    Raises:
        FilesAway: the store does not answer.
    """
    rows = (InBucket(*row) for row in rows_in_bucket().iterator(chunk_size=AT_ONCE))
    first = next(rows, None)
    if first is None and not has_bucket():
        return
    yield from _owed(now)
    pairs = beside(chain([first] if first else [], rows), bucket().listed(OBJECTS))
    while page := list(islice(pairs, AT_ONCE)):
        yield from _unlike(row for row, one in page if row and (not one or one.size != row.size))
        loose = (one for row, one in page if row is None and one)
        for one, erased in orphans(one for one in loose if one.since < now - UNDER_WAY):
            if erased:
                yield Difference(ERASURES, None, f"erased, and still in the bucket: {one.key}")
            else:
                others.note(one)


def _owed(now: datetime) -> Iterator[Difference]:
    owed = PhotoErasure.objects.filter(cleared_at=None, at__lt=now - UNDER_WAY)
    for photo in owed.order_by("pk").values_list("pk", flat=True).iterator():
        what = f"photo {photo} was erased, and the bucket was not seen to let go of it"
        yield Difference(ERASURES, None, what)


def beside(
    rows: Iterator[InBucket], objects: Iterator[StoredObject]
) -> Iterator[tuple[InBucket | None, StoredObject | None]]:
    """Rows and objects of one key together, either alone where the other is not; both come in the
    order of their keys."""
    row, one = next(rows, None), next(objects, None)
    while row or one:
        if one is None or (row is not None and row.key < one.key):
            yield row, None
            row = next(rows, None)
        elif row is None or one.key < row.key:
            yield None, one
            one = next(objects, None)
        else:
            yield row, one
            row, one = next(rows, None), next(objects, None)


def _unlike(rows: Iterable[InBucket]) -> Iterator[Difference]:
    suspects = {one.photo: one for one in rows}
    entries = Entry.objects.filter(fact__in=list(suspects)).order_by("position")
    for photo, position in entries.values_list("fact", "position"):
        if place_of(photo) == suspects[photo]:
            what = "the bucket does not list its object, or not in its size"
            yield Difference(FILES, position, what)

"""The bucket that photos are kept in, tried out: an object is put there, read and deleted."""

from collections.abc import Iterator
from datetime import datetime
from hashlib import sha256
from typing import Final

from django.utils import timezone

from scalewitness.animals.queries.photo_files import bucket as store
from scalewitness.animals.queries.photo_files import has_bucket, overdue
from scalewitness.domain.errors import FilesAway
from scalewitness.fresh_ids import fresh_id
from scalewitness.object_store import Missing
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result

PROBES: Final = "probes/"
PROBE: Final = b"put here to be read back and deleted"
WHY: Final = {
    "RequestTimeTooSkewed": "its clock and this host's are a quarter of an hour or more apart",
    "NoSuchBucket": "there is no such bucket",
    "InvalidAccessKeyId": "it does not know the key AWS_ACCESS_KEY_ID",
    "SignatureDoesNotMatch": "AWS_SECRET_ACCESS_KEY is not the secret of that key",
    "AccessDenied": "the key has no right to do this",
    "EndpointConnectionError": "nothing answers at AWS_S3_ENDPOINT_URL",
    "QuotaExceeded": "the store is full",
    "deleted_and_there": "it says that it deleted an object, and still has it",
    "put_and_missing": "it says that it took an object, and has none",
    "put_and_altered": "it gives back other bytes than it was given",
}
"""What the commonest codes of stores mean."""


def bucket(asked: Asked) -> Iterator[Result]:
    if not has_bucket():
        yield _right("none is set: photos are in the database")
        return
    try:
        yield from _tried(f"{PROBES}{fresh_id(timezone.now())}")
        yield from _rules()
    except FilesAway as fault:
        words = f"it does not work: {WHY.get(fault.why, fault.why)}"
        yield _wrong(words, "see Photos in object storage, in OPERATING.md")
    yield from _overdue(timezone.now())


def _right(words: str) -> Result:
    return Result("bucket", "right", words)


def _wrong(words: str, todo: str) -> Result:
    return Result("bucket", "wrong", words, todo)


def _tried(key: str) -> Iterator[Result]:
    """Also what anybody else may do with it."""
    store().put(key, PROBE, sha256(PROBE).hexdigest())
    if anybody := store().public(key):
        yield _wrong(f"anybody may {' and '.join(anybody)} what is in it", "close it to everybody")
    store().remove(key)
    try:
        store().read(key, len(PROBE))
        yield _wrong("it still gives out an object that was deleted", "ask who runs it")
    except Missing:
        yield _right("it takes an object, gives it back and deletes it")


def _rules() -> Iterator[Result]:
    if status := store().versioning():
        yield _right(f"it keeps versions ({status}); what is erased goes with every one of them")
    if rules := store().lifecycle():
        words = f"it has rules of its own by which objects may go: {', '.join(rules)}"
        yield Result("bucket", "unsure", words, "see that none deletes photos")


def _overdue(now: datetime) -> Iterator[Result]:
    todo = "see that worker and beat run, and what they log"
    arrived, owed = overdue(now)
    if arrived:
        yield _wrong(f"{arrived} photos wait in the database for an hour or more", todo)
    if owed:
        yield _wrong(f"of {owed} photos, erased an hour ago, it is not cleared", todo)

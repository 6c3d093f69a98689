"""Whether the bucket does what the record relies on, tried out, in words."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

from django.conf import settings

from scalewitness.animals.models import PhotoErasure
from scalewitness.animals.queries.photo_files import bucket, waiting
from scalewitness.domain.errors import FilesAway
from scalewitness.fresh_ids import fresh_id
from scalewitness.object_store import Missing

PROBES: Final = "probes/"
PROBE: Final = b"put here to be read back and deleted"
OVERDUE: Final = timedelta(hours=1)
WHY: Final = {
    "RequestTimeTooSkewed": "the clocks of this host and of the store are a quarter of an hour or "
    "more apart",
    "NoSuchBucket": "there is no such bucket",
    "InvalidAccessKeyId": "the store does not know the key AWS_ACCESS_KEY_ID",
    "SignatureDoesNotMatch": "AWS_SECRET_ACCESS_KEY is not the secret of that key",
    "AccessDenied": "the key has no right to do this",
    "EndpointConnectionError": "nothing answers at AWS_S3_ENDPOINT_URL",
    "QuotaExceeded": "the store is full",
    "deleted_and_there": "it says that it deleted an object, and still has it",
    "put_and_missing": "it says that it took an object, and has none",
    "put_and_altered": "it gives back other bytes than it was given",
}
"""What the commonest codes of stores mean."""


@dataclass(frozen=True)
class Finding:
    """``fault``: something to put right; else good to know."""

    fault: bool
    text: str


def check_bucket(now: datetime) -> Iterator[Finding]:
    """Puts an object, reads it, tries what anybody else may do, and deletes it."""
    key = f"{PROBES}{fresh_id(now)}"
    try:
        yield from _tried(key)
        yield from _rules()
    except FilesAway as fault:
        yield Finding(True, f"The bucket does not work: {WHY.get(fault.why, fault.why)}.")
    yield from _overdue(now)


def _tried(key: str) -> Iterator[Finding]:
    store = bucket()
    store.put(key, PROBE, sha256(PROBE).hexdigest())
    anybody = store.public(key)
    if anybody:
        yield Finding(True, f"Anybody may {' and '.join(anybody)} what is in the bucket: close it.")
    store.remove(key)
    try:
        store.read(key, len(PROBE))
        yield Finding(True, "The bucket still gives out an object that was deleted.")
    except Missing:
        yield Finding(False, "The bucket takes an object, gives it back and deletes it.")


def _rules() -> Iterator[Finding]:
    store = bucket()
    if status := store.versioning():
        yield Finding(
            False,
            f"The bucket keeps versions ({status}). What is erased goes with every version.",
        )
    if rules := store.lifecycle():
        yield Finding(
            True,
            f"The bucket has rules of its own by which objects may go: {', '.join(rules)}. "
            "See that none deletes photos.",
        )


def _overdue(now: datetime) -> Iterator[Finding]:
    arrived = waiting().filter(arrived_at__lt=now - OVERDUE).count()
    if settings.PHOTO_STORAGE == "objects" and arrived:
        yield Finding(True, f"{arrived} files wait in the database for an hour or more.")
    owed = PhotoErasure.objects.filter(cleared_at=None, at__lt=now - OVERDUE).count()
    if owed:
        yield Finding(True, f"Of {owed} photos erased an hour ago, the bucket is not cleared.")

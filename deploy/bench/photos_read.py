"""Photos for `photos.py`, and how long one takes to be read; Django is set up before this is
imported."""

import os
import statistics
import time
from hashlib import sha256
from typing import Any

from cast import fresh_id, keeper
from django.utils import timezone

from scalewitness.animals.models import PhotoFile
from scalewitness.animals.queries.photo_files import photo_file
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept

OF_AN_ANIMAL = 100
READ = 500


def fill(photos: int, size: int) -> None:
    """Animals with a hundred photos each, of random bytes."""
    owner = keeper("Wilma")
    room = create_collection(owner, fresh_id(), "The long room", timezone.now()).pk
    for _ in range(photos // OF_AN_ANIMAL):
        animal = fresh_id()
        body: dict[str, Any] = {"collection": str(room), "species": "python_regius"}
        files = {fresh_id(): os.urandom(size) for _ in range(OF_AN_ANIMAL)}
        items = [_item("animal_registered", animal, body)]
        for photo, data in files.items():
            body = {"sha256": sha256(data).hexdigest(), "size": size}
            items.append(_item("photo_attached", animal, body) | {"id": str(photo)})
        outcomes = accept(items, Actor(keeper=owner.pk), timezone.now())
        if any(one.problem for one in outcomes):
            raise RuntimeError("not accepted")
        PhotoFile.objects.bulk_create(
            PhotoFile(photo_id=photo, data=data, arrived_at=timezone.now())
            for photo, data in files.items()
        )


def _item(kind: str, about: object, body: dict[str, Any]) -> dict[str, Any]:
    at = rfc3339(timezone.now())
    return {"id": str(fresh_id()), "kind": kind, "about": str(about), "body": body, "at": at}


def read() -> str:
    """Median and 95th percentile of reading photos one after the other."""
    took = []
    for photo in PhotoFile.objects.order_by("?").values_list("pk", flat=True)[:READ]:
        began = time.perf_counter()
        photo_file(photo)
        took.append(1000 * (time.perf_counter() - began))
    slow = statistics.quantiles(took, n=20)[-1]
    return f"median {statistics.median(took):.1f} ms, 95th percentile {slow:.1f} ms"

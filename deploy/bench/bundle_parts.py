"""Records to take along for `bundle.py`; Django is set up before this is imported."""

import time
from collections.abc import Callable, Iterator
from functools import partial
from statistics import median
from typing import NamedTuple, TypeVar
from uuid import UUID

from cast import fresh_id, keeper
from django.utils import timezone
from fsck_record import grow

from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.domain.translog.bundle import read_bundle
from scalewitness.domain.translog.keys import VerifierKey, read_verifier
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.ledger.queries.tree import tip
from scalewitness.quoted.queries.reading import read_record
from scalewitness.receipts.bundles import bundled
from scalewitness_cli.bundles import Judged, judge

SIZES, ROUNDS = (10, 100, 1000), 5
T = TypeVar("T")
NOTE = "calm while held, tail straight, both passes glided to the same depth and came back clean"


class Measured(NamedTuple):
    """``size``: of the log; seconds are medians."""

    entries: int
    size: int
    bytes: int
    made: float
    checked: float
    read: float


def measured(others: int) -> Iterator[Measured]:
    grow(others)
    owner = keeper("Wilma of the files")
    room = create_collection(owner, fresh_id(), "The long room", timezone.now()).pk
    for entries in SIZES:
        animal = fresh_id()
        _recorded(Actor(keeper=owner.pk), room, animal, entries)
        made, data = _timed(partial(bundled, owner.pk, animal, timezone.now()))
        key = read_verifier(read_bundle(data).key)
        checked, found = _timed(partial(_judged, data, key))
        read, _ = _timed(partial(read_record, data))
        there = len(found.checked.entries)
        yield Measured(there, tip().size, len(data), made, checked, read)


def _judged(data: bytes, key: VerifierKey) -> Judged:
    return judge(read_bundle(data), [key])


def _recorded(actor: Actor, room: UUID, animal: UUID, entries: int) -> None:
    """Of every five entries one is a check with a note, which brings a standing of its own, and the
    others are weights."""
    items = [
        _item("animal_registered", animal, {"collection": str(room), "species": "python_regius"}),
        _item("identifier_assigned", animal, {"scheme": "tag", "code": f"B{entries}"}),
    ]
    while len(items) < entries - entries // 5:
        check = not len(items) % 4
        items.append(_check(animal, entries) if check else _weight(animal, len(items)))
    for start in range(0, len(items), 100):
        outcomes = accept(items[start : start + 100], actor, timezone.now())
        assert all(one.status == "accepted" for one in outcomes), outcomes  # noqa: S101


def _check(animal: UUID, entries: int) -> dict[str, object]:
    sides = [{"side": side, "depth": "3", "stopped": "resistance"} for side in ("left", "right")]
    body = {
        "observed": {"method": "probing", "passes": sides},
        "conclusion": "female",
        "sureness": "fairly_sure",
        "identified": {"by": "tag", "code": f"B{entries}"},
        "held_by": "second_person",
    }
    return _item("call_made", animal, body) | {"texts": {"note": NOTE}}


def _weight(animal: UUID, number: int) -> dict[str, object]:
    return _item(
        "husbandry_noted", animal, {"noted": {"type": "weight", "grams": f"{900 + number}"}}
    )


def _item(kind: str, about: UUID, body: dict[str, object]) -> dict[str, object]:
    at = rfc3339(timezone.now())
    return {"id": str(fresh_id()), "kind": kind, "at": at, "about": str(about), "body": body}


def _timed(do: Callable[[], T]) -> tuple[float, T]:
    seconds = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        found = do()
        seconds.append(time.perf_counter() - began)
    return median(seconds), found

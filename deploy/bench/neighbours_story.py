"""Who sends in `neighbours.py`, which sets Django up before this is imported."""

import itertools
from collections.abc import Iterator
from typing import Any
from uuid import UUID

from asking import Request
from cast import fresh_id, keeper
from django.db import connection
from django.utils import timezone

from scalewitness.animals.models import Collection
from scalewitness.animals.services import create_collection
from scalewitness.domain.moments import rfc3339
from scalewitness.intake.batch import Actor
from scalewitness.intake.services import accept
from scalewitness.ledger.models import Entry
from scalewitness.people.models import Keeper
from scalewitness.people.services import enrol_device

AN_IMPORT = 500
"""Animals in one push, the most there may be."""
EACH = 4
"""Animals of each of the others."""


class Street:
    """One who imports without end, and ``others``, each of whom now and then notes a single call
    on an animal of theirs."""

    def __init__(self, others: int = 120) -> None:
        now = timezone.now()
        importer = keeper("Wilhelmina Stroud")
        self._importer = _header(importer)
        self._room = create_collection(importer, fresh_id(), "The long room", now)
        self._singles: list[tuple[str, UUID]] = []
        for number in range(others):
            who = keeper(f"Petra Okun {number}")
            room = create_collection(who, fresh_id(), "Under the stairs", now)
            header = _header(who)
            made = [_registration(room) for _ in range(EACH)]
            accept(made, Actor(keeper=who.pk), now)
            self._singles += [(header, UUID(one["about"])) for one in made]
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")

    def imports(self) -> Iterator[Request]:
        while True:
            items = [_registration(self._room) for _ in range(AN_IMPORT)]
            yield Request("import", "POST", "/api/v1/push", [self._importer], {"items": items})

    def singles(self) -> Iterator[Request]:
        """Pushes of one call each, by all in turn, on all animals in turn."""
        by_turns = [
            one for start in range(EACH) for one in self._singles[start::EACH]
        ]  # nobody twice before everyone else was
        for header, animal in itertools.cycle(by_turns):
            item = _item("call_made", animal, CALL)
            yield Request("single", "POST", "/api/v1/push", [header], {"items": [item]})


def size() -> int:
    return Entry.objects.count()


def commits(since: int) -> int:
    """In how many transactions the log grew, by what PostgreSQL keeps of each row."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(DISTINCT xmin::text) FROM ledger_entry WHERE position >= %s", [since]
        )
        return int(cursor.fetchone()[0])


CALL = {
    "conclusion": "male",
    "sureness": "fairly_sure",
    "observed": {
        "method": "probing",
        "passes": [
            {"side": side, "depth": "8", "stopped": "resistance"} for side in ("left", "right")
        ],
    },
    "identified": {"by": "keeper_said"},
    "held_by": "second_person",
}


def _header(who: Keeper) -> str:
    return f"Authorization: Bearer {enrol_device(who, 'bench', timezone.now())[1]}"


def _registration(room: Collection) -> dict[str, Any]:
    body = {"collection": str(room.pk), "species": "python_regius"}
    return _item("animal_registered", fresh_id(), body)


def _item(kind: str, about: UUID, body: dict[str, Any]) -> dict[str, Any]:
    at = rfc3339(timezone.now())
    return {"id": str(fresh_id()), "kind": kind, "at": at, "about": str(about), "body": body}

"""A log grown by facts that nothing hangs on, for tests of the tree over it."""

from datetime import UTC, datetime
from uuid import UUID

from django.db import transaction

from scalewitness.ledger.models import Entry
from scalewitness.ledger.services.writing import Draft, Writer

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
STATED = 1
"""The entry that each signing of something new adds, in which the log states the map."""


def append(count: int) -> None:
    with transaction.atomic():
        writer = Writer()
        for number in range(writer.size, writer.size + count):
            fact = UUID(f"01890000-0000-7000-8000-{number:012x}")
            writer.add(Draft(fact, "visit_accepted", None, None, NOW, None, {}), NOW)
        writer.flush()


def leaves() -> list[bytes]:
    rows = Entry.objects.order_by("position").values_list("leaf_hash", flat=True)
    return [bytes(one) for one in rows]

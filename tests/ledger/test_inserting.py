"""Rows stored as arrays are what PostgreSQL has of the same rows stored one by one by Django."""

from datetime import UTC, datetime, timedelta, timezone
from typing import Any
from uuid import UUID

import pytest
from django.db import DatabaseError, transaction

from scalewitness.ledger.models import Entry, Text, Tile
from scalewitness.ledger.services.inserting import insert_rows, insert_values
from scalewitness.ledger.services.writing import COLUMNS

pytestmark = pytest.mark.django_db


def rows(count: int) -> list[dict[str, Any]]:
    """Entries with all that a column can hold: nothing, no words, words, other zones."""
    return [
        {
            "position": number,
            "fact": UUID(int=number + 1),
            "kind": ("call_made", "Größe, „{x}“ \\ \" ' \n 🐍")[number % 2],
            "by": None if number % 3 == 0 else UUID(int=2**128 - 1 - number),
            "device": None,
            "about": UUID(int=7),
            "claimed_at": datetime(1999, 12, 31, 23, 59, 59, 1, UTC) - timedelta(days=number),
            "received_at": datetime(2026, 11, 1, 8, tzinfo=timezone(timedelta(hours=-3.5))),
            "flags": [[], ["clock_ahead"], ["clock_ahead", "late"]][number % 3],
            "leaf": bytes(range(256)),
            "leaf_hash": bytes([number % 256]) * 32,
        }
        for number in range(count)
    ]


def test_entries_are_stored_as_django_stores_them() -> None:
    columns = [name for name in COLUMNS if name != "position"]
    given = rows(40)
    insert_rows(Entry, given)
    ours = list(Entry.objects.order_by("position").values(*columns))
    later = [one | {"position": 100 + one["position"]} for one in given]
    later = [one | {"fact": UUID(int=1000 + n)} for n, one in enumerate(later)]
    Entry.objects.bulk_create(Entry(**one) for one in later)
    theirs = list(Entry.objects.filter(position__gte=100).order_by("position").values(*columns))
    assert [one | {"fact": None} for one in ours] == [one | {"fact": None} for one in theirs]
    assert [one["fact"] for one in ours] == [one["fact"] for one in given]


def test_a_row_the_table_refuses_fails_as_django_s_own_would() -> None:
    insert_values(Tile, ("level", "index", "layers", "root"), [(0, 0, b"a", b"b")])
    for wrong in ([(0, 0, b"c", b"d")], [(None, 1, b"c", b"d")]):
        with pytest.raises(DatabaseError), transaction.atomic():
            insert_values(Tile, ("level", "index", "layers", "root"), wrong)
    row = {"fact": UUID(int=1), "field": "note", "salt": b"s", "text": "one\x00two"}
    with pytest.raises(DatabaseError), transaction.atomic():
        insert_rows(Text, [row])
    assert (Tile.objects.count(), Text.objects.count()) == (1, 0)


def test_rows_of_different_widths_are_not_stored() -> None:
    with pytest.raises(ValueError, match="shorter"):
        insert_values(Tile, ("level", "index", "layers", "root"), [(0, 0, b"a", b"b"), (0, 1)])
    assert not Tile.objects.exists()

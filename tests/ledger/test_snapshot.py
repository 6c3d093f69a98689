"""Reading as of one moment, on a connection of its own, outside of any test's transaction."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import OperationalError, connection
from django.utils import timezone

from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.queries.snapshot import snapshot

pytestmark = pytest.mark.django_db


def elsewhere(what: Callable[[], str]) -> str:
    def alone() -> str:
        try:
            return what()
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(alone).result()


def setting(name: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(f"SHOW {name}")
        (value,) = cursor.fetchone()
    return str(value)


def test_a_snapshot_stands_still() -> None:
    def seen() -> str:
        with snapshot():
            inside = setting("transaction_isolation")
        return f"{inside}, then {setting('transaction_isolation')}"

    assert elsewhere(seen) == "repeatable read, then read committed"


def test_a_snapshot_takes_no_writes() -> None:
    def written() -> str:
        with snapshot():
            Checkpoint.objects.create(size=1, root=b"", key="", note="", signed_at=timezone.now())
        return "written"

    with pytest.raises(OperationalError, match="read-only"):
        elsewhere(written)

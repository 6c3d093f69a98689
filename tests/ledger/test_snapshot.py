"""Reading as of one moment, outside of any test's own transaction."""

import pytest
from django.db import InternalError, connection
from django.utils import timezone

from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.queries.snapshot import snapshot


@pytest.mark.django_db(transaction=True)
def test_a_snapshot_stands_still_and_takes_no_writes() -> None:
    with snapshot(), connection.cursor() as cursor:
        cursor.execute("SHOW transaction_isolation")
        assert cursor.fetchone() == ("repeatable read",)
    with pytest.raises(InternalError, match="read-only"), snapshot():
        Checkpoint.objects.create(size=1, root=b"", key="", note="", signed_at=timezone.now())
    with connection.cursor() as cursor:
        cursor.execute("SHOW transaction_read_only")
        assert cursor.fetchone() == ("off",)

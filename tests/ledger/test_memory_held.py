"""A process that keeps the file of what was signed, and does not go on."""

import fcntl
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.db import transaction
from tests.ledger.growing import NOW, STATED, append

from scalewitness.domain.errors import Busy
from scalewitness.ledger.models import Checkpoint
from scalewitness.ledger.services import memory_file
from scalewitness.ledger.services.signing import sign_checkpoint

pytestmark = pytest.mark.django_db


def test_signing_gives_up_and_signs_nothing_until_the_file_is_free(
    tmp_path: Path, settings: LazySettings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else whoever asked for a receipt would wait for ever, with the lock of what was signed."""
    settings.LOG_MEMORY = str(tmp_path / "log_memory")
    monkeypatch.setattr(memory_file, "TIMEOUT", 0.05)
    append(3)
    with (tmp_path / "log_memory.lock").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(Busy), transaction.atomic():
            sign_checkpoint(NOW)
        assert not Checkpoint.objects.exists()
    assert sign_checkpoint(NOW).size == 3 + STATED

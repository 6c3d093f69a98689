"""For all tests of the log."""

from pathlib import Path

import pytest
from django.conf import LazySettings


@pytest.fixture
def memory(tmp_path: Path, settings: LazySettings) -> Path:
    settings.LOG_MEMORY = str(tmp_path / "log_memory")
    return tmp_path / "log_memory"

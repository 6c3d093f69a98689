"""A supervisor in a folder of its own, for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from stack.supervisor import Supervisor


@pytest.fixture
def said() -> list[str]:
    """What the supervisor told the person watching."""
    return []


@pytest.fixture
def supervisor(tmp_path: Path, said: list[str]) -> Iterator[Supervisor]:
    with Supervisor(tmp_path / "run", lambda name, text: said.append(f"{name}: {text}")) as running:
        yield running

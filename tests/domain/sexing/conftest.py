"""Each test counts its calls from one, whatever ran before it."""

from itertools import count

import pytest
from tests.domain.sexing import builders


@pytest.fixture(autouse=True)
def positions_from_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(builders, "_positions", count(1))

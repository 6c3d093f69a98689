"""What every test may ask for."""

from collections.abc import Iterator

import pytest

from tests.plugins.environment import SERVICES


def pytest_unconfigure() -> None:
    SERVICES.stop()


@pytest.fixture
def world(db: None) -> Iterator["World"]:  # noqa: F821
    """A keeper's collection with people around it; see `tests.world`."""
    from tests.world import World

    yield World()

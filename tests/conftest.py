"""What every test may ask for."""

import gc
from collections.abc import Generator
from typing import Any

import pytest
from hypothesis import settings as hypothesis
from tests.plugins.own_database import (
    migrated_database,
    own_database,
    untouched_database,
)
from tests.plugins.services import django_db_modify_db_settings, services
from tests.world import World

from scalewitness import rate_limit

pytest_plugins = ["tests.plugins.bounded", "tests.plugins.long", "tests.plugins.longest_first"]

hypothesis.register_profile("steady", deadline=None)
hypothesis.load_profile("steady")
"""No example has to be quick: how long one takes says how busy the machine is. See DEVELOPERS."""


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is loaded by the end stays for good, and the collector need not walk over it: neither
    now, which takes a third of the time, nor later. It runs as seldom as in the web process."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(100_000, 10, 10)
        gc.enable()


__all__ = [
    "django_db_modify_db_settings",
    "migrated_database",
    "own_database",
    "services",
    "untouched_database",
]


@pytest.fixture
def world(db: None) -> World:
    """A keeper's collection with people around it; see `tests.world`."""
    return World()


@pytest.fixture
def without_queue(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The queue server is away, and this process has counted nothing so far."""
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": settings.REDIS_URL}}
    monkeypatch.setattr(rate_limit._Server, "away_until", 0.0)
    rate_limit._here.clear()


@pytest.fixture
def lasting_world(own_database: None) -> World:
    """As `world`, where transactions are real: what is committed stays until the test ends."""
    return World()

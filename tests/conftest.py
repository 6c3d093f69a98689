"""What every test may ask for."""

import gc
from collections.abc import Generator, Iterator
from time import time
from typing import Any

import pytest
from hypothesis import settings as hypothesis
from pytest_django import DjangoDbBlocker
from tests.plugins.own_database import (
    migrated_database,
    own_copy,
    own_database,
    untouched_database,
)
from tests.plugins.services import django_db_modify_db_settings, services
from tests.plugins.told import Told, pytest_fixture_setup, told_a_month_ago, told_at_start
from tests.plugins.told_once import pytest_collection_modifyitems, pytest_runtest_teardown
from tests.world import START, World

from scalewitness import rate_limit

pytest_plugins = [
    "tests.plugins.bounded",
    "tests.plugins.long",
    "tests.plugins.longest_first",
]

hypothesis.register_profile("steady", deadline=None, max_examples=50)
hypothesis.load_profile("steady")
"""No example has to be quick: how long one takes says how busy the machine is. See DEVELOPERS."""


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is loaded by the end stays for good, and the collector need not walk over it: neither
    now, which takes a third of the time, nor later. Over all that is there it then runs ten times
    as seldom as in the web process: what a test leaves behind is not worth seconds."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(100_000, 10, 100)
        gc.enable()


__all__ = [
    "django_db_modify_db_settings",
    "migrated_database",
    "own_database",
    "pytest_collection_modifyitems",
    "pytest_fixture_setup",
    "pytest_runtest_teardown",
    "services",
    "told_a_month_ago",
    "told_at_start",
    "untouched_database",
]


@pytest.fixture
def world(db: None, told_at_start: Told) -> World:
    """A keeper's collection with people around it; see `tests.world`."""
    return told_at_start.again(World, START)


@pytest.fixture
def one_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tries are counted anew in each minute: none ends among those of a test."""
    now = time()
    monkeypatch.setattr("scalewitness.api.throttling.time", lambda: now)


@pytest.fixture
def without_queue(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The queue server is away, and this process has counted nothing so far."""
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    settings.CACHES = {"default": {**settings.CACHES["default"], "LOCATION": settings.REDIS_URL}}
    monkeypatch.setattr(rate_limit._Server, "away_until", 0.0)
    rate_limit._here.clear()


@pytest.fixture
def lasting_world(told_at_start: Told, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """As `world`, where transactions are real: what is committed stays until the test ends."""
    with own_copy(told_at_start.name, django_db_blocker):
        yield told_at_start.again(World, START)

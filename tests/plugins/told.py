"""The world of a test, told once for all tests of a process.

Most tests begin with the same five keepers and their collection (`tests.world`). Those are told to
a copy of the migrated database, where a test's transaction then begins; what a test says itself is
rolled back as ever. So their ids are the same in all tests, and what the queue server counts by
them is forgotten before each.
"""

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TypeVar

import pytest
from django.db import connections, transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker
from redis import Redis
from tests.plugins.environment import SERVICES
from tests.plugins.own_database import COPY, copied, lead_to
from tests.plugins.told_once import STORY, begin
from tests.world import START, World

W = TypeVar("W", bound=World)


@dataclass(frozen=True)
class Told:
    """A world in the database called ``name``."""

    name: str
    world: World

    def again(self, kind: type[W], now: datetime) -> W:
        """As it was told; whatever a test does to it is the test's own."""
        with Redis.from_url(SERVICES.redis_url) as server:
            server.flushdb()
        for further in STORY.copies.values():
            if isinstance(further, kind):
                return further
        again = kind.__new__(kind)
        vars(again).update(deepcopy(vars(self.world)), now=now)
        return again


def a_month_ago() -> datetime:
    return timezone.now() - timedelta(days=30)


@pytest.fixture(scope="session")
def told_at_start(
    migrated_database: str, untouched_database: str, django_db_blocker: DjangoDbBlocker
) -> Iterator[Told]:
    """When the stories of most tests begin."""
    with copied(untouched_database, f"{migrated_database}_start") as name:
        yield _told(name, START, django_db_blocker)
        _leave_for(migrated_database, django_db_blocker)


@pytest.fixture(scope="session")
def told_a_month_ago(
    migrated_database: str, untouched_database: str, django_db_blocker: DjangoDbBlocker
) -> Iterator[Told]:
    """For tests that the real clock reaches."""
    with copied(untouched_database, f"{migrated_database}_month") as name:
        yield _told(name, a_month_ago(), django_db_blocker)
        _leave_for(migrated_database, django_db_blocker)


def _told(name: str, now: datetime, django_db_blocker: DjangoDbBlocker) -> Told:
    before = connections["default"].settings_dict["NAME"]
    with django_db_blocker.unblock():
        lead_to(name)
        with transaction.atomic():
            world = World(now=now)
            connections["default"].run_on_commit.clear()  # as in a test: nobody is woken
        lead_to(before)
    return Told(name, world)


def _leave_for(name: str, django_db_blocker: DjangoDbBlocker) -> None:
    with django_db_blocker.unblock():
        lead_to(name)


@pytest.hookimpl(tryfirst=True)
def pytest_fixture_setup(
    fixturedef: pytest.FixtureDef[object], request: pytest.FixtureRequest
) -> None:
    """A test's transaction begins in the database where its world was told, if it was; else in
    the copy that its module has, or in the migrated one."""
    if fixturedef.argname != "_django_db_helper":
        return
    before = connections["default"].settings_dict["NAME"]
    used = [one for one in FIXTURES if one in request.fixturenames]
    if before.endswith(COPY) and not used:
        begin(request)
        return
    name = request.getfixturevalue(used[0]).name if used else request.getfixturevalue(MIGRATED)
    if before != name:
        blocker = request.getfixturevalue("django_db_blocker")
        _leave_for(name, blocker)
        if before.endswith(COPY):
            request.addfinalizer(partial(_leave_for, before, blocker))
    begin(request, stays=before == name or not before.endswith(COPY))


FIXTURES = ("told_at_start", "told_a_month_ago")
MIGRATED = "migrated_database"

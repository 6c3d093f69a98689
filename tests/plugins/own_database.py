"""A database of its own for a test that must commit.

Nothing committed to the record can be taken back, not even by the test that committed it:
the guards refuse DELETE and TRUNCATE. So such a test gets a copy, dropped afterwards.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from time import sleep

import psycopg
import pytest
from django.db import connections
from django.test.utils import setup_databases, teardown_databases
from pytest_django import DjangoDbBlocker
from tests.plugins.environment import SERVICES


@pytest.fixture(scope="session")
def migrated_database(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """The test database, also where no other test of the session asked for it."""
    if connections["default"].settings_dict["NAME"].startswith("test_"):
        yield
        return
    with django_db_blocker.unblock():
        made = setup_databases(verbosity=0, interactive=False, aliases={"default"})
    yield
    with django_db_blocker.unblock():
        teardown_databases(made, verbosity=0)


@pytest.fixture
def own_database(migrated_database: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """All connections of the process lead to a fresh copy of the migrated test database."""
    with own_copy(django_db_blocker):
        yield


@contextmanager
def own_copy(django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """As :func:`own_database`, for fixtures that live longer; one at a time, and after
    `migrated_database`."""
    with django_db_blocker.unblock():
        template = connections["default"].settings_dict["NAME"]
        copy = f"{template}_copy"
        _lead_to(template)
        _run(
            f"DROP DATABASE IF EXISTS {copy} WITH (FORCE)",
            f"CREATE DATABASE {copy} TEMPLATE {template}",
        )
        _lead_to(copy)
        try:
            yield
        finally:
            _lead_to(template)
            _run(f"DROP DATABASE {copy} WITH (FORCE)")


def _lead_to(name: str) -> None:
    connection = connections["default"]
    connection.close()
    connection.close_pool()
    connection.settings_dict["NAME"] = name


def _run(*statements: str) -> None:
    with psycopg.connect(SERVICES.owner_url, autocommit=True) as owner:
        for statement in statements:
            _insist(owner, statement)


def _insist(owner: psycopg.Connection, statement: str) -> None:
    """An autovacuum that happens to be at work in a database keeps its owner from dropping it
    by force; it is soon done."""
    for _ in range(20):
        with suppress(psycopg.errors.InsufficientPrivilege):
            owner.execute(statement.encode())
            return
        sleep(0.5)
    owner.execute(statement.encode())

"""A database of its own for a test that must commit.

Nothing committed to the record can be taken back, not even by the test that committed it:
the guards refuse DELETE and TRUNCATE. So such a test gets a copy, dropped afterwards.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from time import sleep
from urllib.parse import urlsplit

import psycopg
import pytest
from django.db import connections
from django.test.utils import setup_databases, teardown_databases
from pytest_django import DjangoDbBlocker
from tests.plugins.environment import SERVICES

COPY = "_copy"
"""How the name ends of one that a test or a module has to itself."""


@pytest.fixture(scope="session")
def migrated_database(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[str]:
    """The name of the test database, also where no other test of the session asked for it."""
    if connections["default"].settings_dict["NAME"].startswith("test_"):
        yield connections["default"].settings_dict["NAME"]
        return
    with django_db_blocker.unblock():
        made = setup_databases(verbosity=0, interactive=False, aliases={"default"})
    yield connections["default"].settings_dict["NAME"]
    with django_db_blocker.unblock():
        teardown_databases(made, verbosity=0)


@pytest.fixture(scope="session")
def untouched_database(migrated_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[str]:
    """The name of a copy of the migrated database that nobody connects to, so that further
    copies can be made from it at any time. A web server and a worker may run on them."""
    with django_db_blocker.unblock():
        lead_to(migrated_database)
    with copied(migrated_database, f"{migrated_database}_untouched") as name:
        with django_db_blocker.unblock():
            lead_to(name)
            _limit_runtime_role()
            lead_to(migrated_database)
        yield name


@contextmanager
def copied(template: str, name: str) -> Iterator[str]:
    """A copy of a database that has no connections; dropped at the end."""
    _run(
        f"DROP DATABASE IF EXISTS {name} WITH (FORCE)",
        f"CREATE DATABASE {name} TEMPLATE {template}",
    )
    try:
        yield name
    finally:
        _run(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def own_database(untouched_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """All connections of the process lead to a fresh copy of the migrated test database."""
    with own_copy(untouched_database, django_db_blocker):
        yield


@contextmanager
def own_copy(untouched: str, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """As :func:`own_database`, for fixtures that live longer; one at a time."""
    with django_db_blocker.unblock():
        before = connections["default"].settings_dict["NAME"]
        lead_to(before)  # a copy is made of what nobody is connected to
        with copied(untouched, f"{before}{COPY}") as name:
            lead_to(name)
            try:
                yield
            finally:
                lead_to(before)


def _limit_runtime_role() -> None:
    from scalewitness.ledger.services.guard import limit_runtime_role  # needs Django set up

    runtime, owner = (urlsplit(one).username for one in (SERVICES.app_url, SERVICES.owner_url))
    if runtime and runtime != owner:
        limit_runtime_role(connections["default"], runtime)


def lead_to(name: str) -> None:
    """All connections of the process from now on."""
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
    by force, and a connection just closed from copying it; both are soon done."""
    for _ in range(120):
        with suppress(psycopg.errors.InsufficientPrivilege, psycopg.errors.ObjectInUse):
            owner.execute(statement.encode())
            return
        sleep(0.5)
    owner.execute(statement.encode())

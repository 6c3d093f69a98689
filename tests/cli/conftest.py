"""One running server for all tests of the command that need one."""

from collections.abc import Iterator
from urllib.parse import urlsplit

import psycopg
import pytest
from django.db import connections
from pytest_django import DjangoDbBlocker
from tests.cli.rooms import Room
from tests.plugins.services import Services

from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


@pytest.fixture(scope="session")
def room_database(
    services: Services, migrated_database: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[str]:
    """The address of a database of its own, a copy of the migrated one."""
    with django_db_blocker.unblock():
        connection = connections["default"]
        template = connection.settings_dict["NAME"]
        connection.close()
        connection.close_pool()
    name = f"{template}_room"
    with psycopg.connect(services.owner_url, autocommit=True) as owner:
        owner.execute(f"CREATE DATABASE {name} TEMPLATE {template}".encode())
        yield urlsplit(services.owner_url)._replace(path=f"/{name}").geturl()
        owner.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


@pytest.fixture(scope="session")
def room(
    services: Services, room_database: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Room]:
    """The web server on real PostgreSQL and Valkey; no worker: nothing here waits for it."""
    folder = tmp_path_factory.mktemp("room")
    given = {
        "DATABASE_URL": room_database,
        "DATABASE_OWNER_URL": room_database,
        "REDIS_URL": services.redis_url,
        "EMAIL_URL": "smtp://127.0.0.1:1",
    }
    with Supervisor(folder / "run", say=lambda name, text: None) as supervisor:
        stack = LocalStack(supervisor, folder / "run", free_port(), given)
        stack.start_database()
        stack.start_queue()
        stack.start_mail()
        stack.start_web()
        made = Room(stack, folder)
        yield made
        made.close()

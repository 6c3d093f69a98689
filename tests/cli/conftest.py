"""One running server for all tests of the command that need one."""

from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
from tests.cli.rooms import Room
from tests.plugins.own_database import copied
from tests.plugins.services import Services

from stack.local import LocalStack
from stack.ready import free_port
from stack.supervisor import Supervisor


@pytest.fixture(scope="session")
def room_database(services: Services, untouched_database: str) -> Iterator[str]:
    """The address of a database of its own, a copy of the migrated one."""
    with copied(untouched_database, f"{untouched_database}_room") as name:
        yield urlsplit(services.owner_url)._replace(path=f"/{name}").geturl()


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
        supervisor.kill("web")  # no more is asked of it: nobody waits for what it has open

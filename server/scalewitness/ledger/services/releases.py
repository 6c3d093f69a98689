"""Which releases of this program may run on these tables, one beside the other.

During an upgrade two releases run for a while. So a release takes nothing away that the one before
uses, and the tables say which may still run (`deploy/UPGRADING.md`).
"""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Final

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.recorder import MigrationRecorder

from scalewitness import __version__
from scalewitness.ledger.models import Release

OLDEST_BESIDE: Final = "0.1"
"""The earliest release that may run beside this one."""

BESIDE = """
SELECT DISTINCT application_name FROM pg_stat_activity
WHERE datname = current_database() AND application_name ~ '^scalewitness (web|worker) '
"""
"""Each process says its release when it connects (`settings.postgres`)."""


def unable(connection: BaseDatabaseWrapper) -> str | None:
    """Why this release may not serve on these tables yet, or not any more, in a sentence.

    Raises:
        DatabaseError, PoolTimeout: they cannot be read now.
    """
    missing = sorted(set(_migrations()) - set(MigrationRecorder(connection).applied_migrations()))
    if missing:
        app, name = missing[0]
        return (
            f"Release {__version__} needs tables that the database does not have yet "
            f"({len(missing)} migrations, the first {app}.{name}). Run `migrate` of this release."
        )
    oldest = max(Release.objects.values_list("oldest", flat=True), key=_numbers, default="0")
    if _numbers(__version__) < _numbers(oldest):
        return (
            f"The database was migrated for a release beside which none before {oldest} may run, "
            f"and this is {__version__}."
        )
    return None


def older_beside(connection: BaseDatabaseWrapper) -> str | None:
    """Why these tables may not be migrated for this release yet, in a sentence."""
    with connection.cursor() as cursor:
        cursor.execute(BESIDE)
        running = {name.split()[-1] for (name,) in cursor.fetchall()}
    older = sorted(one for one in running if _numbers(one) < _numbers(OLDEST_BESIDE))
    if not older:
        return None
    return (
        f"Release {__version__} cannot run beside {', '.join(older)}: stop every web and worker "
        "process of that first, then migrate, then start those of this release."
    )


def note_release(database: str, now: datetime) -> None:
    """Note that the tables are migrated for this release."""
    noted = Release.objects.using(database)
    if not noted.filter(version=__version__, oldest=OLDEST_BESIDE).exists():
        noted.create(version=__version__, oldest=OLDEST_BESIDE, at=now)


def _migrations() -> Iterator[tuple[str, str]]:
    """Those that come with this release and its packages, by app and name. Files are listed and
    not loaded: this is asked at each start of a process."""
    for one in apps.get_app_configs():
        for path in (Path(one.path) / "migrations").glob("[0-9]*.py"):
            yield one.label, path.stem


def _numbers(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split(".") if part.isdigit())

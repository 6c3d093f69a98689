"""Two releases run on the same tables during an upgrade: what migrations may do to them.

Whatever the last release has or asks for stays as long as it may run: tables and columns are added
first, used next, and taken away a release after the last use (`deploy/UPGRADING.md`).
"""

import re
import tomllib
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations.base import Operation

from scalewitness import __version__
from scalewitness.domain.translog.leaf import Stamp, leaf_bytes
from scalewitness.ledger.services.releases import OLDEST_BESIDE
from stack import released
from stack.local import ROOT

RELEASED = released.read()
TAKES_AWAY = (
    migrations.RemoveField,
    migrations.DeleteModel,
    migrations.RenameField,
    migrations.RenameModel,
    migrations.AlterModelTable,
)
HARMLESS = (
    migrations.CreateModel,
    migrations.AddIndex,
    migrations.RemoveIndex,
    migrations.RenameIndex,
    migrations.RemoveConstraint,
    migrations.AlterModelOptions,
    migrations.AlterModelManagers,
)


def unfilled(operation: Any) -> bool:
    field = operation.field
    return not (field.null or field.many_to_many or field.has_db_default())


LOOKED_INTO = {
    "animals.0008_photos_in_a_bucket": (
        "what it allows more, no release before writes, and none moves photos unless told to"
    ),
}
"""Migrations that alter a column or add a constraint, and why the last release can run on it."""

BREAKS: list[tuple[Any, Callable[[Any], bool], str]] = [
    (
        migrations.AddField,
        unfilled,
        "adds a column that the last release does not fill: null=True or db_default",
    ),
    (
        migrations.AlterField,
        lambda one: True,
        "alters a column: add another, and let the next release use it",
    ),
    (
        migrations.AddConstraint,
        lambda one: True,
        "adds a constraint that the last release does not know of",
    ),
    (
        (migrations.RunPython, migrations.RunSQL),
        lambda one: not one.reversible,
        "cannot be gone back from: give what undoes it, or noop",
    ),
]


def ours() -> set[str]:
    return {one.label for one in apps.get_app_configs() if one.name.startswith("scalewitness.")}


def fresh() -> Iterator[tuple[str, migrations.Migration]]:
    """The migrations that came after the last release."""
    for (app, name), one in MigrationLoader(None).disk_migrations.items():
        if app in ours() and f"{app}.{name}" not in RELEASED.migrations:
            yield f"{app}.{name}", one


def faults(operation: Operation, contracts: str | None) -> Iterator[str]:
    """Why the last release could not run on what this leaves. ``contracts``: the release that
    used it no more, as the migration names it."""
    if isinstance(operation, migrations.SeparateDatabaseAndState):
        for one in operation.database_operations:
            yield from faults(one, contracts)
    elif isinstance(operation, TAKES_AWAY):
        if contracts not in RELEASED.releases:
            yield "takes away what the last release has"
    elif not isinstance(operation, HARMLESS):
        yield from (
            why for kind, breaks, why in BREAKS if isinstance(operation, kind) and breaks(operation)
        )
        if not isinstance(operation, tuple(kind for kind, _, _ in BREAKS)):
            yield "is of a sort that nobody thought of here yet"


def judged(operation: Operation, contracts: str | None = None) -> list[str]:
    return list(faults(operation, contracts))


def test_no_migration_since_the_release_breaks_the_release() -> None:
    found = []
    for name, one in fresh():
        if name in LOOKED_INTO:
            continue
        contracts = getattr(import_module(one.__module__), "CONTRACTS", None)
        found += [
            f"{name}: {operation.describe()}: {fault}"
            for operation in one.operations
            for fault in faults(operation, contracts)
        ]
    assert found == []


TEXT = models.CharField(max_length=20)


@pytest.mark.parametrize(
    "operation",
    [
        migrations.RemoveField("entry", "kind"),
        migrations.RenameField("entry", "kind", "sort"),
        migrations.DeleteModel("Entry"),
        migrations.RenameModel("Entry", "Line"),
        migrations.AlterField("entry", "kind", TEXT),
        migrations.AddField("entry", "more", TEXT),
        migrations.AddConstraint("entry", models.CheckConstraint(condition=models.Q(), name="x")),
        migrations.RunPython(print),
        migrations.SeparateDatabaseAndState([migrations.RemoveField("entry", "kind")]),
    ],
    ids=lambda one: type(one).__name__,
)
def test_what_would_break_it_is_found(operation: Operation) -> None:
    assert judged(operation)


@pytest.mark.parametrize(
    "operation",
    [
        migrations.CreateModel("Line", []),
        migrations.AddField("entry", "more", models.CharField(max_length=20, null=True)),
        migrations.AddField("entry", "more", models.CharField(max_length=20, db_default="")),
        migrations.AddIndex("entry", models.Index(fields=["kind"], name="x")),
        migrations.RunPython(print, migrations.RunPython.noop),
    ],
)
def test_what_adds_is_not(operation: Operation) -> None:
    assert judged(operation) == []


def test_what_a_release_used_no_more_may_go_in_the_next() -> None:
    gone = migrations.RemoveField("entry", "kind")
    assert judged(gone, RELEASED.releases[-1]) == []
    assert judged(gone, "9.9") != []


def test_entries_are_written_as_the_last_release_can_read_them() -> None:
    """An entry is for ever, and the release beside this one reads it a moment later."""
    stated = {"kind": "k", "id": None, "by": None, "device": None, "at": "", "about": None}
    leaf = leaf_bytes(**stated, body={}, sig=None, stamp=Stamp("", ()))
    assert released.version_of(leaf) in RELEASED.entries_read


def test_the_releases_beside_this_one_are_known() -> None:
    assert OLDEST_BESIDE in {*RELEASED.releases, __version__}


def test_everything_bears_one_number_and_the_changelog_has_it() -> None:
    both = [tomllib.loads((ROOT / one / "pyproject.toml").read_text()) for one in (".", "server")]
    assert {one["project"]["version"] for one in both} == {__version__}
    assert set(both[1]["project"]["dependencies"]) == {f"scalewitness[server]=={__version__}"}
    headings = re.findall(r"^## (.+)$", (ROOT / "deploy" / "CHANGELOG.md").read_text(), re.M)
    assert headings[0] == __version__
    assert set(RELEASED.releases) <= set(headings)

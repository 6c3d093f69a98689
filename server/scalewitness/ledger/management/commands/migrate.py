"""``migrate`` as Django has it, then the guard on every append-only table.

Runs as the owner role. When a separate runtime role is configured, it is left with no
right to change a fact. Refuses while a release runs beside which this one cannot.
"""

from typing import Any

from django.conf import settings
from django.core.management import CommandError
from django.core.management.commands.migrate import Command as Migrate
from django.db import connections
from django.utils import timezone

from scalewitness.ledger.services.guard import guard_tables, limit_runtime_role, limit_strangers
from scalewitness.ledger.services.releases import note_release, older_beside


class Command(Migrate):
    def handle(self, *args: Any, **options: Any) -> None:
        if "owner" in settings.DATABASES and options["database"] == "default":
            options["database"] = "owner"
        if fault := older_beside(connections[options["database"]]):
            raise CommandError(fault)
        super().handle(*args, **options)
        if options.get("plan") or options.get("check_unapplied"):
            return
        connection = connections[options["database"]]
        guard_tables(connection)
        note_release(options["database"], timezone.now())
        limit_strangers(connection, settings.STRANGERS)
        runtime = settings.DATABASES["default"].get("USER")
        if runtime and runtime != connection.settings_dict["USER"]:
            limit_runtime_role(connection, str(runtime))

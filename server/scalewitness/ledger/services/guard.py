"""The database's own guard over what may only be added to."""

from collections.abc import Iterable, Mapping

from django.apps import apps
from django.db import models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from scalewitness.ledger.models import AppendOnly, Head, SignedHead, Text

HISTORY_PREFIX = "historical"
GROWING = (Head, SignedHead)
"""One row each, updated in place, and only ever to a larger tree."""
ERASABLE = frozenset({Text._meta.label, "books.BookSalt"})
"""Rows that may go and never change."""

GUARD = """
CREATE OR REPLACE FUNCTION scalewitness_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% on % is refused: the record is append-only', TG_OP, TG_TABLE_NAME
    USING ERRCODE = 'insufficient_privilege';
END $$;
CREATE OR REPLACE FUNCTION scalewitness_head_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP <> 'UPDATE' OR NEW.id <> OLD.id OR NEW.size < OLD.size
     OR (NEW.size = OLD.size AND NEW IS DISTINCT FROM OLD) THEN
    RAISE EXCEPTION 'the head of the log only grows' USING ERRCODE = 'insufficient_privilege';
  END IF;
  RETURN NEW;
END $$;
"""


def guarded_models() -> list[type[models.Model]]:
    """Every table that is only ever added to: facts, log entries and edit histories."""
    return [model for model in apps.get_models() if _append_only(model)]


def _append_only(model: type[models.Model]) -> bool:
    return issubclass(model, AppendOnly) or model.__name__.lower().startswith(HISTORY_PREFIX)


def guard_tables(connection: BaseDatabaseWrapper) -> None:
    """Put the refusing triggers on every guarded table. Repeating it changes nothing."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(GUARD)
        for model in guarded_models():
            table = quote(model._meta.db_table)
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER refuse_change BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION scalewitness_refuse_change()"
            )
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER refuse_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION scalewitness_refuse_change()"
            )
        for model in GROWING:
            table = quote(model._meta.db_table)
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER only_grows BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION scalewitness_head_grows()"
            )
            cursor.execute(
                f"CREATE OR REPLACE TRIGGER no_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION scalewitness_head_grows()"
            )


def limit_runtime_role(connection: BaseDatabaseWrapper, role: str) -> None:
    """Give the web and worker's role what it needs and nothing that could alter a fact."""
    quote = connection.ops.quote_name
    name = quote(role)
    # In one transaction, so that a running server never sees itself without rights.
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        cursor.execute(f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {name}")
        cursor.execute(f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {name}")
        for model in apps.get_models(include_auto_created=True):
            rights = ", ".join(_rights(model))
            cursor.execute(f"GRANT {rights} ON {quote(model._meta.db_table)} TO {name}")
        cursor.execute(f"GRANT SELECT ON django_migrations TO {name}")


def limit_strangers(connection: BaseDatabaseWrapper, defaults: Mapping[str, int]) -> None:
    """Make settings the database's own for every session that brings none: whoever took a lock
    and does not answer loses it. Left alone where the database is not the migrating role's."""
    name = connection.ops.quote_name(connection.settings_dict["NAME"])
    with connection.cursor() as cursor:
        cursor.execute(OWNED)
        (owned,) = cursor.fetchone()
        for setting, value in defaults.items() if owned else ():
            cursor.execute(f"ALTER DATABASE {name} SET {setting} = {value:d}")


OWNED = """
SELECT pg_has_role(current_user, datdba, 'USAGE') FROM pg_database
WHERE datname = current_database()
"""


def _rights(model: type[models.Model]) -> Iterable[str]:
    if _append_only(model):
        return ("SELECT", "INSERT")
    if model in GROWING:
        return ("SELECT", "UPDATE")
    if model._meta.label in ERASABLE:
        return ("SELECT", "INSERT", "DELETE")
    return ("SELECT", "INSERT", "UPDATE", "DELETE")

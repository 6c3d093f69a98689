"""Storing many rows of one table by COPY, which takes a third of the time of INSERT."""

from collections.abc import Sequence
from typing import Any

from django.db import connection
from django.db.models import AutoField, Field, JSONField, Model
from psycopg.types.json import Jsonb


def copy_in(rows: Sequence[Model]) -> None:
    """Store new rows of one model, as ``bulk_create`` does; keys that the database gives are
    not told to the rows."""
    model = type(rows[0])
    fields = [one for one in model._meta.concrete_fields if not isinstance(one, AutoField)]
    columns = ", ".join(f'"{one.column}"' for one in fields)
    statement = f'COPY "{model._meta.db_table}" ({columns}) FROM STDIN'
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for row in rows:
            copy.write_row([_value(row, one) for one in fields])


def _value(row: Model, field: "Field[Any, Any]") -> Any:
    value = getattr(row, field.attname)
    return Jsonb(value) if isinstance(field, JSONField) and value is not None else value

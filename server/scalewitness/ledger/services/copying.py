"""Storing many rows of one table by COPY, which takes a third of the time of INSERT."""

from collections.abc import Iterable, Sequence
from typing import Any

import msgspec
from django.db import connection
from django.db.models import AutoField, Field, JSONField, Model
from psycopg.types.json import Jsonb


def copy_in(rows: Sequence[Model]) -> None:
    """Store new rows of one model, as ``bulk_create`` does; keys that the database gives are
    not told to the rows."""
    model = type(rows[0])
    fields = [one for one in model._meta.concrete_fields if not isinstance(one, AutoField)]
    columns = [str(one.column) for one in fields]
    copy_values(model, columns, ([_value(row, one) for one in fields] for row in rows))


def copy_values(model: type[Model], columns: Iterable[str], rows: Iterable[Sequence[Any]]) -> None:
    """Store new rows of a model's table, given as the values of these columns."""
    named = ", ".join(f'"{one}"' for one in columns)
    statement = f'COPY "{model._meta.db_table}" ({named}) FROM STDIN'
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for row in rows:
            copy.write_row(row)


def _value(row: Model, field: "Field[Any, Any]") -> Any:
    value = getattr(row, field.attname)
    return (
        Jsonb(value, dumps=msgspec.json.encode)
        if isinstance(field, JSONField) and value is not None
        else value
    )

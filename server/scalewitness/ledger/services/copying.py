"""Storing many rows of one table by COPY, which takes a third of the time of INSERT."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeAlias

import msgspec
from django.db import connection
from django.db.models import Model
from psycopg.types.json import Jsonb

Row: TypeAlias = Mapping[str, Any]
"""A new row by its columns' names."""


def copy_in(model: type[Model], rows: Sequence[Row]) -> None:
    """Store new rows of a model's table, all of the same columns in the same order."""
    copy_values(model, rows[0].keys(), (tuple(row.values()) for row in rows))


def copy_values(model: type[Model], columns: Iterable[str], rows: Iterable[Sequence[Any]]) -> None:
    """As :func:`copy_in`, the rows given as the values of these columns."""
    named = ", ".join(f'"{one}"' for one in columns)
    statement = f'COPY "{model._meta.db_table}" ({named}) FROM STDIN'
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        for row in rows:
            copy.write_row(row)


def as_json(value: object) -> Jsonb:
    """For a column of JSON."""
    return Jsonb(value, dumps=msgspec.json.encode)

"""Storing many rows of one table by COPY, which takes a third of the time of INSERT; in
PostgreSQL's binary form, which is written in a third of the time of its text."""

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
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
    statement, types = _statement(model, tuple(columns))
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(statement) as copy,
    ):
        copy.set_types(types)
        for row in rows:
            copy.write_row(row)


@cache
def _statement(model: type[Model], columns: tuple[str, ...]) -> tuple[str, list[str]]:
    """The statement, and the type of each column as PostgreSQL names it."""
    named = ", ".join(f'"{one}"' for one in columns)
    kinds = {field.column: field.db_type(connection) for field in model._meta.concrete_fields}
    types = [LENGTH.sub("", kinds[one] or "") for one in columns]
    return f'COPY "{model._meta.db_table}" ({named}) FROM STDIN (FORMAT BINARY)', types


LENGTH = re.compile(r"\(.*?\)")
"""In a type, how long or how exact; the form of a value has nothing to do with it."""


def as_json(value: object) -> Jsonb:
    """For a column of JSON."""
    return Jsonb(value, dumps=msgspec.json.encode)

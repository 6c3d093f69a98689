"""Rows of several tables by one question, where little is read of each: waiting takes longest."""

from typing import Any

import msgspec
from django.db import connection
from django.db.models import QuerySet

from scalewitness.ledger.queries.prepared import columns

Named = dict[str, Any]


def read_together(*wanted: QuerySet[Any]) -> list[list[Any]]:
    """What each of the queries finds, as instances of its model, in its order. They come as JSON,
    which has no decimals and no bytes: for models without such columns, and without what they are
    related to."""
    parts, values = [], list[Any]()
    for number, rows in enumerate(wanted):
        plain = rows.values(*columns(rows.model), *rows.query.annotations)
        sql, given = plain.query.sql_with_params()
        # The words are Django's; whatever anybody gave is among the values.
        as_json = f"row_number() OVER () AS place, to_jsonb(found)::text FROM ({sql}) AS found"
        parts.append(f"SELECT {number} AS part, {as_json}")
        values.extend(given)
    found: list[list[Any]] = [[] for _ in wanted]
    with connection.cursor() as cursor:
        cursor.execute(f"{' UNION ALL '.join(parts)} ORDER BY part, place", values)
        for number, _, row in cursor.fetchall():
            found[number].append(_instance(wanted[number], msgspec.json.decode(row, type=Named)))
    return found


def _instance(rows: QuerySet[Any], row: Named) -> Any:
    fields: list[Any] = list(rows.model._meta.concrete_fields)
    values = [field.to_python(row[field.column]) for field in fields]
    made = rows.model.from_db(rows.db, [field.attname for field in fields], values)
    for name, annotation in rows.query.annotations.items():
        setattr(made, name, annotation.output_field.to_python(row[name]))
    return made

"""Queries put into SQL once, and planned once for each connection.

Django takes longer to put a query into SQL, and PostgreSQL to plan it, than either takes to
answer a small one. Where the same question is asked with every request, only the values differ.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property
from typing import Any, Self, TypeVar

from django.db import connection
from django.db.models import Model, QuerySet
from psycopg import Cursor

M = TypeVar("M", bound=Model)


class _Planning(Cursor[Any]):
    def execute(self, query: Any, params: Any = None, **_: Any) -> Self:
        # The driver forgets the words of what it prepared, and Django's log of queries has
        # them from there: while one is kept, nothing is prepared.
        prepare = False if connection.queries_logged else None
        return super().execute(query, params, prepare=prepare, binary=True)


def asked(sql: str, values: Sequence[Any] | Mapping[str, Any] = ()) -> list[tuple[Any, ...]]:
    """The rows of a statement that is asked again and again, always in the same words. They
    come in PostgreSQL's binary form, which is read several times as fast as its text."""
    connection.ensure_connection()
    plain: Any = _Planning(connection.connection)
    wrapped = connection.make_debug_cursor if connection.queries_logged else connection.make_cursor
    with wrapped(plain) as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())


class Prepared:
    """``make`` builds the query from stand-ins, one for each name; ``ask`` puts values in
    their place. A stand-in is of the type of its values and equal to nothing else in the
    query.
    """

    def __init__(self, make: Callable[..., QuerySet[Any, Any]], **stand_ins: Any) -> None:
        self._make = make
        self._stand_ins = stand_ins

    def ask(self, **values: Any) -> list[tuple[Any, ...]]:
        """The rows for these values, one for each name."""
        sql, stood_in = self._statement
        given = {one: _literal(values[name]) for name, one in self._stand_ins.items()}
        return asked(sql, [given.get(one, one) for one in stood_in])

    def rows_of(self, model: type[M], **values: Any) -> list[M]:
        """The same as instances, where the query gives all :func:`columns` of the model."""
        make = maker(model)
        return [make(row) for row in self.ask(**values)]

    @cached_property
    def _statement(self) -> tuple[str, tuple[Any, ...]]:
        sql, params = self._make(**self._stand_ins).query.sql_with_params()
        return sql, tuple(params)


def _literal(value: Any) -> Any:
    """Many ids as PostgreSQL writes an array: the driver would write them one after the other,
    which takes longer than most answers do."""
    return "{" + ",".join([one.hex for one in value]) + "}" if isinstance(value, list) else value


def columns(model: type[Model]) -> list[str]:
    """The names of a model's columns, in their order."""
    return [field.attname for field in model._meta.concrete_fields]


def maker(model: type[M]) -> Callable[[Sequence[Any]], M]:
    """Makes instances from rows with all of the model's columns."""
    names, alias = columns(model), connection.alias
    return lambda row: model.from_db(alias, names, row)


def any_of(rows: QuerySet[Any, Any], column: str, ids: Any) -> QuerySet[Any, Any]:
    """Rows whose ``column`` (table and name, quoted) is among the ids of a stand-in."""
    # ``column`` is written in the code beside the query, never given by anyone.
    return rows.extra(where=[f"{column} = ANY(%s::uuid[])"], params=[ids])  # noqa: S610

"""Queries put into SQL once, and planned once for each connection.

Django takes longer to put a query into SQL, and PostgreSQL to plan it, than either takes to
answer a small one. Where the same question is asked with every request, only the values differ.
And where several are asked, waiting for each answer takes longer than answering: they are sent
together.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from functools import cached_property
from typing import Any, NamedTuple, Self, TypeAlias, TypeVar
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.models import F, Field, Func, Model, QuerySet
from psycopg import Cursor
from psycopg.adapt import Dumper
from psycopg.pq import Format

M = TypeVar("M", bound=Model)
Rows: TypeAlias = list[tuple[Any, ...]]
Values: TypeAlias = Sequence[Any] | Mapping[str, Any]


class PreparedQuery(NamedTuple):
    """A statement that is asked again and again, always in the same words, with values."""

    sql: str
    values: Values = ()


class _Planning(Cursor[Any]):
    prepare: bool | None = None
    """As the connection is set up."""

    def execute(self, query: Any, params: Any = None, **_: Any) -> Self:
        return super().execute(query, params, prepare=self.prepare, binary=True)


def asked(sql: str, values: Values = ()) -> Rows:
    """The rows of a statement that is asked again and again, always in the same words. They
    come in PostgreSQL's binary form, which is read several times as fast as its text."""
    asking = _asking.get()
    rows = asking.taken(sql, values) if asking else None
    if rows is not None:
        return rows
    with _cursor(_database()) as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())


class Packed(bytes):
    """A value in PostgreSQL's binary form, of the type that its statement says."""


class _AsItIs(Dumper):
    format = Format.BINARY

    def dump(self, obj: Packed) -> Packed:
        return obj


def executed(sql: str, values: Values = ()) -> None:
    """As :func:`asked`, of a statement that has no rows to give; values may be `Packed`."""
    with _cursor(_database()) as cursor:
        # Of this cursor alone: a connection may be older than this module, and knows only
        # the types that the driver knew then.
        cursor.adapters.register_dumper(Packed, _AsItIs)
        cursor.execute(sql, values)


@contextmanager
def planned_for_its_values() -> Iterator[None]:
    """Within the block, in a transaction, a statement is planned anew each time: where the best
    plan depends on how much of a table its values take in, which one plan for all guesses."""
    executed("SET LOCAL plan_cache_mode = force_custom_plan")
    yield
    executed("SET LOCAL plan_cache_mode = force_generic_plan")


@contextmanager
def sent_together() -> Iterator[None]:
    """Within the block nobody waits for what a statement comes to before the next is sent,
    but where its rows are read. One that fails does so by the end of the block."""
    database = _database()
    if database.queries_logged:  # a log that only knows statements one by one
        yield
        return
    with database.wrap_database_errors, database.connection.pipeline():
        yield


@contextmanager
def asked_together(*questions: PreparedQuery) -> Iterator[None]:
    """Sends all of these and waits for none. Within the block the first who asks something
    waits for all; whoever asks one of them, with the same values, has the answer at once; a
    second time it is sent anew. What is done before is done while PostgreSQL answers.

    PostgreSQL takes them one after the other: each sees what was committed before its turn,
    also where an earlier one had to wait for a lock.
    """
    with ExitStack() as cursors, ExitStack() as line:
        line.enter_context(sent_together())
        database = _database()
        sent: dict[str, list[tuple[Values, Any]]] = {}
        for sql, values in questions:
            cursor = cursors.enter_context(_cursor(database))
            cursor.execute(sql, values)
            sent.setdefault(sql, []).append((values, cursor))
        before = _asking.set(_Asking(line, sent))
        try:
            yield
        finally:
            _asking.reset(before)


class _Asking(NamedTuple):
    """Questions that were sent over a line, until they are asked."""

    line: ExitStack
    sent: dict[str, list[tuple[Values, Any]]]

    def taken(self, sql: str, values: Values) -> Rows | None:
        """The answer, once; None where that was not asked."""
        self.line.close()  # where all answers are in already, nothing
        asked = self.sent.get(sql, [])
        found = next((one for one in asked if one[0] == values), None)
        if found is None:
            return None
        asked.remove(found)
        return list(found[1].fetchall())


_asking: ContextVar[_Asking | None] = ContextVar("asking", default=None)


def _database() -> Any:
    """Django's connection itself: `connection` would look it up for each of its attributes."""
    database: Any = connections[DEFAULT_DB_ALIAS]
    database.ensure_connection()
    return database


def _cursor(database: Any) -> Any:
    plain: Any = _Planning(database.connection)
    if not database.queries_logged:
        return database.make_cursor(plain)
    # The driver forgets the words of what it prepared, and Django's log of queries has them
    # from there: while one is kept, nothing is prepared.
    plain.prepare = False
    return database.make_debug_cursor(plain)


class Prepared:
    """``make`` builds the query from stand-ins, one for each name; ``ask`` puts values in
    their place. A stand-in is of the type of its values and equal to nothing else in the
    query.
    """

    def __init__(self, make: Callable[..., QuerySet[Any, Any]], **stand_ins: Any) -> None:
        self._make = make
        self._stand_ins = stand_ins

    def ask(self, **values: Any) -> Rows:
        """The rows for these values, one for each name."""
        return asked(*self.question(**values))

    def question(self, **values: Any) -> PreparedQuery:
        """The same, to be sent together with others."""
        sql, stood_in = self._statement
        given = {one: _literal(values[name]) for name, one in self._stand_ins.items()}
        return PreparedQuery(sql, [given.get(one, one) for one in stood_in])

    def rows_of(self, model: type[M], **values: Any) -> list[M]:
        """The same as instances, where the query gives all :func:`columns` of the model."""
        make = maker(model)
        return [make(row) for row in self.ask(**values)]

    @cached_property
    def _statement(self) -> tuple[str, tuple[Any, ...]]:
        sql, params = self._make(**self._stand_ins).query.sql_with_params()
        return sql, tuple(params)


class PreparedExpression:
    """An expression over the rows of ``model``, put into SQL once however many queries hold it,
    and however often.

    ``make`` builds it from stand-ins, as for :class:`Prepared`; it may look at no more of the
    row than ``columns``, the paths of fields.
    """

    def __init__(
        self,
        make: Callable[..., Any],
        model: type[Model],
        columns: Sequence[str],
        output_field: "Field[Any, Any]",
        **stand_ins: Any,
    ) -> None:
        self._make = make
        self._model = model
        self._columns = columns
        self._output_field = output_field
        self._stand_ins = stand_ins

    def of(self, **values: Any) -> Func:
        """It with these values, one for each name."""
        given = tuple((one, values[name]) for name, one in self._stand_ins.items())
        return _PutIntoSql(
            *self._columns, prepared=self, given=given, output_field=self._output_field
        )

    @cached_property
    def statement(self) -> tuple[str, tuple[Any, ...]]:
        """The SQL, with each column as a `_mark`, and its values with stand-ins among them."""
        named = {f"column_{place}": F(path) for place, path in enumerate(self._columns)}
        rows = self._model._base_manager.annotate(made=self._make(**self._stand_ins), **named)
        compiler = rows.query.get_compiler(DEFAULT_DB_ALIAS)
        terms = rows.query.annotations
        sql, params = compiler.compile(terms["made"])
        # Whatever Django calls the tables of the query around it, these are called otherwise.
        sql = _ALIAS.sub(r"prepared_\1", sql)
        for place in range(len(self._columns)):
            sql = sql.replace(compiler.compile(terms[f"column_{place}"])[0], _mark(place))
        return sql, tuple(params)


class _PutIntoSql(Func):
    """A `PreparedExpression` with values; its sources are the columns."""

    def __init__(
        self, *columns: Any, prepared: PreparedExpression, given: tuple[Any, ...], **more: Any
    ) -> None:
        super().__init__(*columns, **more)
        self._prepared, self._given = prepared, given

    def as_sql(  # type: ignore[override]  # it is no function with a template
        self, compiler: Any, connection: Any
    ) -> tuple[str, tuple[Any, ...]]:
        sql, stood_in = self._prepared.statement
        for place, source in enumerate(self.get_source_expressions()):
            sql = sql.replace(_mark(place), compiler.compile(source)[0])
        given = dict(self._given)
        return sql, tuple(given.get(one, one) for one in stood_in)


_ALIAS = re.compile(r"\b([A-Z]+\d+)\b")
"""What Django calls the tables of a query within another one."""


def _mark(place: int) -> str:
    return f"\0{place}\0"


def _literal(value: Any) -> Any:
    """Many ids as PostgreSQL writes an array: the driver would write them one after the other,
    which takes longer than most answers do. In order, so that the same ones are the same."""
    return ids_literal(value) if isinstance(value, list) else value


def ids_literal(ids: Iterable[UUID]) -> str:
    """Ids as PostgreSQL writes an array of them, in their order."""
    return "{" + ",".join(sorted([one.hex for one in ids])) + "}"


def columns(model: type[Model]) -> list[str]:
    """The names of a model's columns, in their order."""
    return [field.attname for field in model._meta.concrete_fields]


def maker(model: type[M]) -> Callable[[Sequence[Any]], M]:
    """Makes instances from rows with all of the model's columns."""
    names = columns(model)
    return lambda row: model.from_db(DEFAULT_DB_ALIAS, names, row)


def any_of(rows: QuerySet[Any, Any], column: str, ids: Any) -> QuerySet[Any, Any]:
    """Rows whose ``column`` (table and name, quoted) is among the ids of a stand-in."""
    # ``column`` is written in the code beside the query, never given by anyone.
    return rows.extra(where=[f"{column} = ANY(%s::uuid[])"], params=[ids])  # noqa: S610

"""How far the primary's write-ahead log has come, asked once for all who may share the answer.

To ask anything of the primary wakes a session there, which takes as long as a small read. So one
answer serves every read that was asked for before the question was sent: whatever was committed
by then, the primary had when it looked. A read asked for later needs a later question, also while
another is under way.
"""

import os
from collections.abc import Callable
from math import inf
from select import POLLIN, poll
from threading import Event, Lock
from time import monotonic
from typing import Any, Final, NamedTuple

import psycopg
from django.db import DEFAULT_DB_ALIAS, OperationalError, connections

from scalewitness.postgresql.impatient import Impatient

PRIMARY_NOW: Final = """
SELECT reached::text, left(pg_walfile_name(reached), 8)
FROM (SELECT CASE current_setting('synchronous_commit')
  WHEN 'off' THEN pg_current_wal_insert_lsn() ELSE pg_current_wal_flush_lsn() END) AS now (reached)
"""
"""Commits are seen once they are flushed, but where nobody waits for that."""
LONGEST: Final = 10.0
"""Seconds that others wait for one question: to connect and to ask are given up sooner, unless
there are many hosts to connect to (our judgement)."""
RENEWED: Final = 600.0
"""Seconds that one session is asked: what the operator set for the role meanwhile, such as
``synchronous_commit``, only a new one goes by (our judgement)."""


class Moment(NamedTuple):
    """How far the primary's write-ahead log had come, and on which timeline: whatever was
    committed by then is below."""

    reached: str
    timeline: str


class PrimaryLine:
    """A session of the primary that is asked nothing else, one question at a time. It stays warm:
    in a pool each takes its turn, and wakes to cold caches."""

    def __init__(self) -> None:
        self._session: psycopg.Connection[Any] | None = None
        self._until = 0.0

    def ask(self, sending: Callable[[], None]) -> Moment:
        """Calls ``sending`` when all that is left to do is to send it.

        Raises:
            OperationalError: the primary cannot be asked.
        """
        try:
            if self._is_spent():
                self.close()
            if self._session is None:
                self._session = _connect()
                self._until = monotonic() + RENEWED
            cursor = psycopg.Cursor(self._session)
            sending()
            # Always in the same words, so that it is planned once.
            [found] = cursor.execute(PRIMARY_NOW).fetchall()
        except psycopg.Error as fault:
            self.close()
            raise OperationalError("The primary cannot be asked.") from fault
        return Moment(*found)

    def close(self) -> None:
        session, self._session = self._session, None
        if session is not None:
            session.close()

    def _is_spent(self) -> bool:
        """Whether it was hung up on while nobody asked: only then is there anything to read."""
        if self._session is None:
            return False
        look = poll()
        look.register(self._session.fileno(), POLLIN)
        return bool(look.poll(0)) or monotonic() >= self._until


class _Question:
    def __init__(self) -> None:
        self.sent = -inf
        """Or a little later; never, as yet."""
        self.over = Event()
        self.answer: Moment | None = None
        self.fault: OperationalError | None = None

    def is_being_sent(self) -> None:
        self.sent = monotonic()

    def result(self) -> Moment:
        if self.answer is None:
            raise OperationalError("The primary cannot be asked.") from self.fault
        return self.answer


class Shared:
    """Puts a question for all who want to know at a time: one of them asks, one at a time."""

    def __init__(self, ask: Callable[[Callable[[], None]], Moment]) -> None:
        self._ask = ask
        self._guard = Lock()
        self._under_way: _Question | None = None
        self._answered: _Question | None = None

    def since(self, moment: float) -> Moment:
        """By a question that was sent at this ``moment`` of the monotonic clock, or after it.

        Raises:
            OperationalError: the primary could not be asked; so it is for all who waited for this.
        """
        while True:
            with self._guard:
                if self._answered is not None and self._answered.sent >= moment:
                    return self._answered.result()
                mine = self._under_way is None
                question = self._under_way = self._under_way or _Question()
            if mine:
                self._put(question)
            elif not question.over.wait(LONGEST):
                raise OperationalError("Nobody could ask the primary in time.")
            if question.sent >= moment:
                return question.result()

    def _put(self, question: _Question) -> None:
        try:
            question.answer = self._ask(question.is_being_sent)
        except OperationalError as fault:
            question.fault = fault
        finally:
            with self._guard:
                if question.sent == -inf:
                    question.is_being_sent()  # or all who waited would try in turn, and as long
                self._under_way = None
                if question.answer is not None:
                    self._answered = question
            question.over.set()


def _connect() -> psycopg.Connection[Any]:
    primary: Any = connections.create_connection(DEFAULT_DB_ALIAS)
    return Impatient.connect(**primary.get_connection_params(), autocommit=True)


LINE: Final = PrimaryLine()
PRIMARY: Final = Shared(LINE.ask)


def _anew() -> None:
    LINE.__init__()  # type: ignore[misc]
    PRIMARY.__init__(LINE.ask)  # type: ignore[misc]


os.register_at_fork(after_in_child=_anew)  # two processes would take each other's answers

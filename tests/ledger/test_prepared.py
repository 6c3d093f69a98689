"""Questions sent together: answered in order, each once, as if asked one by one."""

from collections.abc import Iterator
from threading import Timer

import psycopg
import pytest
from django.db import DatabaseError, connection, transaction
from tests.ledger.growing import append

from scalewitness.domain.ids import uuid7
from scalewitness.ledger.queries.entries import STRETCH
from scalewitness.ledger.queries.prepared import (
    PreparedQuery,
    asked,
    asked_together,
    executed,
    planned_for_its_values,
    sent_together,
)
from scalewitness.ledger.queries.tree import HEAD, LEAVES, tip
from scalewitness.ledger.services.writing import LOCKED
from scalewitness.standings.queries.logged import LABELS

HELD = "SELECT count(*) FROM django_session WHERE session_key = 'held'"
HELD_AFTER = f"{HELD} AND true"


@pytest.fixture
def counted() -> Iterator[list[str]]:
    """The statements that went out one by one."""
    sent: list[str] = []

    def note(execute, sql, params, many, context):  # type: ignore[no-untyped-def]
        sent.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        yield sent


@pytest.mark.django_db
def test_what_was_asked_together_is_not_asked_again(counted: list[str]) -> None:
    append(3)
    alone = [HEAD.ask(), LEAVES.ask(start=0, end=2), STRETCH.ask(start=1, end=3)]
    counted.clear()
    three = [HEAD.question(), LEAVES.question(start=0, end=2), STRETCH.question(start=1, end=3)]
    with asked_together(*three):
        assert len(counted) == 3
        assert [HEAD.ask(), LEAVES.ask(start=0, end=2), STRETCH.ask(start=1, end=3)] == alone
        assert len(counted) == 3


@pytest.mark.django_db
def test_an_answer_is_given_once_and_to_its_own_values_only() -> None:
    append(3)
    with asked_together(HEAD.question(), LEAVES.question(start=0, end=2)):
        append(2)
        assert tip().size == 3  # as it was when asked
        assert tip().size == 5
        assert len(LEAVES.ask(start=0, end=5)) == 5
    with asked_together(HEAD.question()):
        append(1)
    assert tip().size == 6  # nothing outlives its block


@pytest.mark.django_db
def test_many_ids_are_the_same_question_in_any_order() -> None:
    ids = [uuid7(n, bytes(10)) for n in range(5)]
    assert LABELS.question(animals=ids) == LABELS.question(animals=ids[::-1])
    assert LABELS.question(animals=ids) != LABELS.question(animals=ids[1:])


@pytest.mark.django_db
def test_one_that_fails_fails_by_the_end_of_the_block() -> None:
    wrong = HEAD.question(), PreparedQuery("SELECT 1 / 0"), LOCKED.question()
    with pytest.raises(DatabaseError), transaction.atomic(), asked_together(*wrong):
        tip()
    with pytest.raises(DatabaseError), transaction.atomic(), asked_together(*wrong):
        pass  # nothing is asked
    with pytest.raises(DatabaseError), transaction.atomic(), sent_together():
        executed("UPDATE ledger_head SET size = NULL", [])
    assert tip().size == 0


@pytest.mark.django_db
def test_whoever_waited_for_the_lock_sees_what_its_holder_committed() -> None:
    """PostgreSQL, Transaction Isolation, Read Committed: each command sees what was committed
    before that command began; so does each of several that were sent at once."""
    settings = connection.get_connection_params()
    with psycopg.connect(**settings | {"context": None, "cursor_factory": None}) as holder:
        holder.execute("SELECT FROM ledger_head FOR UPDATE")
        holder.execute("INSERT INTO django_session VALUES ('held', '', now())")
        with asked_together(PreparedQuery(HELD), LOCKED.question(), PreparedQuery(HELD_AFTER)):
            Timer(0.5, holder.commit).start()  # nothing was waited for so far
            ((before,),) = asked(HELD)
            ((after,),) = asked(HELD_AFTER)
        holder.execute("DELETE FROM django_session WHERE session_key = 'held'")
    assert (before, after) == (0, 1)


@pytest.mark.django_db
def test_a_statement_is_planned_for_its_values_within_the_block_alone() -> None:
    """As a first pull looks for what few said in all of the log: one plan for any values read
    every entry."""
    asking = "SELECT position FROM ledger_entry WHERE kind = 'handed_over' AND position < %s"
    plans = "SELECT generic_plans, custom_plans FROM pg_prepared_statements WHERE statement LIKE %s"
    for _ in range(10):  # prepared by then
        asked(asking, (5,))
    ((guessed, fitting),) = asked(plans, (asking[:-2] + "%",))
    assert guessed
    assert not fitting
    with planned_for_its_values():
        asked(asking, (5,))
    asked(asking, (5,))
    assert asked(plans, (asking[:-2] + "%",)) == [(guessed + 1, 1)]

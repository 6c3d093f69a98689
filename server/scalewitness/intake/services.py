"""The one way in: every fact, from every edge, passes through `accept`."""

import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from django.db import DatabaseError, transaction

from scalewitness.domain.errors import Busy, Refused
from scalewitness.domain.moments import parse_moment
from scalewitness.intake.ahead import judged_ahead
from scalewitness.intake.authors import check_confirmed, confirmed_question
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.judging import judge
from scalewitness.intake.known import Known
from scalewitness.intake.outcomes import Outcome, Seen, known_among, known_question, named
from scalewitness.intake.signatures import prove
from scalewitness.intake.submission import Sealed, Submission, read, seal
from scalewitness.intake.turns import own_turn
from scalewitness.ledger.queries.fence import LAST
from scalewitness.ledger.queries.prepared import Question, asked_together
from scalewitness.ledger.services.writing import LOCKED
from scalewitness.mail.services import queueing as mail
from scalewitness.waiting import was_held_up

T = TypeVar("T")
R = TypeVar("R")


def accept(
    items: Sequence[object], actor: Actor, received_at: datetime, *, ending: bool = False
) -> list[Outcome]:
    """Take a batch: one transaction, one outcome an item, in order.

    Each item is accepted, a duplicate, held or refused on its own; what a fact causes
    (standing, holds, disclosures, disputes, letters) is in the same transaction. When this
    returns, the transaction has been committed unless the caller opened an outer one.
    ``ending``: it takes powers away and claims nothing, so that the keeper may be anyone.

    Raises:
        Busy: others hold up the log for too long; nothing was stored.
        AddressUnconfirmed: of the whole batch; its keeper has not confirmed their address.
    """
    with own_turn(actor.by):
        author = None if ending else actor.keeper
        return named(items, _accepted(items, actor, received_at, author))


def _accepted(
    items: Sequence[object], actor: Actor, received_at: datetime, author: UUID | None
) -> list[Outcome]:
    prepared, known = _prepare(items, actor, received_at)
    ahead = judged_ahead(prepared, Batch(actor, received_at, known, ahead=True))
    try:
        with transaction.atomic(), asked_together(*_questions(prepared, known, author)):
            check_confirmed(author)
            outcomes, owes = (ahead.write() if ahead else None), False
            if outcomes is None:
                outcomes, owes = _take(prepared, Batch(actor, received_at, known))
    except DatabaseError as fault:
        if was_held_up(fault):
            raise Busy() from fault
        # A value no check foresaw. Take the items one savepoint each, so that only the
        # one at fault is refused. Nothing of the first attempt was kept.
        known.forget()
        with transaction.atomic():
            check_confirmed(author)
            outcomes, owes = _take(prepared, Batch(actor, received_at, known), careful=True)
    if owes:
        transaction.on_commit(mail.wake)
    return outcomes


def accept_one(
    item: object, actor: Actor, received_at: datetime, *, ending: bool = False
) -> Outcome:
    """Take a single fact.

    Raises:
        Refused: the item's own refusal, for the edge to translate.
    """
    outcome = accept([item], actor, received_at, ending=ending)[0]
    if outcome.problem is not None:
        raise Replayed(outcome.problem)
    return outcome


class Replayed(Refused):
    """A refusal that already is problem details."""

    def __init__(self, problem: dict[str, Any]) -> None:
        super().__init__(problem["detail"])
        self.problem = problem

    def as_problem(self) -> dict[str, Any]:
        return self.problem


def _prepare(
    items: Iterable[object], actor: Actor, received_at: datetime
) -> tuple[list[Sealed | Refused], Known]:
    """Parse, seal and check signatures, and read what calls will be judged by. All that is
    outside the lock: whoever waits for it waits for none of it."""
    given = [_attempt(read, item) for item in items]
    known = _expecting(given, actor, received_at)
    with known.read_ahead():  # the rest while PostgreSQL answers
        sealed = [
            _attempt(lambda one: seal(one, received_at, _fresh_salt), one)
            if isinstance(one, Submission)
            else one
            for one in given
        ]
        return prove(sealed, actor), known


def _fresh_salt(field: str) -> bytes:
    """For a text not seen before; one that was is given its kept salt under the lock."""
    return os.urandom(32)


def _attempt(step: Callable[[T], R], value: T) -> R | Refused:
    try:
        return step(value)
    except Refused as refused:
        return refused


def _expecting(given: Iterable[Submission | Refused], actor: Actor, received_at: datetime) -> Known:
    """Nothing read yet, but all that will have to be."""
    known = Known(actor.keeper, received_at)
    for one in given:
        if isinstance(one, Submission) and one.kind == "call_made":
            with suppress(ValueError):  # no such time: it will be refused
                known.expect(UUID(one.about), parse_moment(one.at))
    return known


def _questions(
    prepared: Sequence[Sealed | Refused], known: Known, author: UUID | None
) -> list[Question]:
    """What a batch asks first, the log's lock before all: whoever waits for it meanwhile
    waits for one answer instead of four."""
    first = (LOCKED.question(), LAST.question(), *confirmed_question(author))
    return [*first, *known.matters(), known_question(prepared)]


def _take(
    prepared: Sequence[Sealed | Refused], batch: Batch, *, careful: bool = False
) -> tuple[list[Outcome], bool]:
    seen = Seen(batch.actor, known_among(prepared))
    outcomes = judge(prepared, batch, seen, careful=careful)
    batch.flush()
    return outcomes, batch.owes_letters

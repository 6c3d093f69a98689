"""A piece of what somebody sends: as much as is taken in one transaction, or less.

A piece is prepared and, where that is possible, judged before the log is locked. Pieces that
were are written together, whoever sent them, with one lock and one commit.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import datetime
from typing import TypeVar
from uuid import UUID

import structlog
from django.db import DatabaseError, transaction

from scalewitness.domain.errors import AddressUnconfirmed, Busy, Refused
from scalewitness.domain.moments import parse_moment
from scalewitness.intake.ahead import Ahead, judged_ahead
from scalewitness.intake.authors import check_confirmed, confirmed_question
from scalewitness.intake.batch import Actor, Batch, flush_together
from scalewitness.intake.judging import judge
from scalewitness.intake.known import Known
from scalewitness.intake.outcomes import Outcome, Seen, known_among, known_question
from scalewitness.intake.pace import PACE
from scalewitness.intake.signatures import prove
from scalewitness.intake.submission import Sealed, Submission, read, seal
from scalewitness.ledger.queries.fence import LAST
from scalewitness.ledger.queries.prepared import Question, asked_together
from scalewitness.ledger.services.writing import IN_LINE, LOCKED
from scalewitness.mail.services import queueing as mail
from scalewitness.waiting import was_held_up

log = structlog.get_logger()

T = TypeVar("T")
R = TypeVar("R")


class Piece:
    """Items of one sender, in order. ``author``: in whose name they are, if they must have
    confirmed their address. ``outcomes``: of those taken so far; ``fault``: why no more can be,
    for whoever waits for it."""

    def __init__(
        self,
        items: Sequence[object],
        actor: Actor,
        received_at: datetime,
        author: UUID | None,
    ) -> None:
        self.items, self.actor, self.received_at = items, actor, received_at
        self.author = author
        self.outcomes: list[Outcome] = []
        self.fault: BaseException | None = None
        self.ahead: Ahead | None = None
        self._prepared: Sequence[Sealed | Refused] | None = None
        self._known = Known(actor.keeper, received_at)

    @property
    def is_done(self) -> bool:
        return len(self.outcomes) == len(self.items)

    @property
    def is_fresh(self) -> bool:
        """Whether nothing was done about it yet."""
        return self._prepared is None

    def prepare(self) -> None:
        """All that needs no lock, once: parse, seal, check signatures, read what it will be
        judged by, and judge it."""
        if self._prepared is None:
            self._prepared, self._known = prepare(self.items, self.actor, self.received_at)
            batch = Batch(self.actor, self.received_at, self._known, ahead=True)
            self.ahead = judged_ahead(self._prepared, batch)

    def prepare_for_all(self) -> None:
        """As :meth:`prepare`; a fault is kept for whoever waits for the piece."""
        try:
            if self.fault is None:
                self.prepare()
        except Exception as fault:
            self.fault = fault

    def questions(self) -> list[Question]:
        """What it asks under the lock."""
        first = confirmed_question(self.author)
        return [*first, *self._known.matters(), known_question(self._rest)]

    def forget(self) -> None:
        """Have what it is judged by read anew."""
        self._known.forget()

    def in_turn(self, ahead: Ahead, last: Ahead | None) -> list[Outcome] | None:
        """What it comes to by what was judged ahead, under the lock; None where that has to
        be found out by :meth:`take`. ``last``: another written before it."""
        with suppress(AddressUnconfirmed):
            check_confirmed(self.author)
            return ahead.take_turn(last)
        return None

    def take(self, *, whole: bool = False) -> None:
        """Take as many of the items as the log may be locked for, or the ``whole``, in one
        transaction: those left have no outcome yet."""
        try:
            with transaction.atomic(), asked_together(*_locking(), *self.questions()):
                outcomes, owes = self._judged(whole=whole)
        except DatabaseError as fault:
            if was_held_up(fault):
                raise Busy() from fault
            # A value no check foresaw. Take the items one savepoint each, so that only the
            # one at fault is refused. Nothing of the first attempt was kept.
            self._known.forget()
            with transaction.atomic():
                outcomes, owes = self._judged(whole=whole, careful=True)
        if owes:
            transaction.on_commit(mail.wake)
        self.outcomes += outcomes
        self._known.forget()

    def _judged(self, *, whole: bool, careful: bool = False) -> tuple[list[Outcome], bool]:
        check_confirmed(self.author)
        batch = Batch(self.actor, self.received_at, self._known)
        return take(self._rest, batch, careful=careful, whole=whole)

    @property
    def _rest(self) -> Sequence[Sealed | Refused]:
        return (self._prepared or ())[len(self.outcomes) :]


def _locking() -> tuple[Question, ...]:
    """What is asked first, the log's lock before all: whoever waits for it meanwhile waits for
    one answer instead of several."""
    return IN_LINE, LOCKED.question(), LAST.question()


def write_together(pieces: Sequence[Piece]) -> None:
    """Write the pieces that were judged ahead, in one transaction. One on which another bears,
    or something that came in between, gets no outcome here; nor does any where the database
    refuses what one of them holds."""
    judged = [(one, ahead) for one in pieces if (ahead := one.ahead)]
    if judged:
        for one, _ in judged:
            one.ahead = None  # once: what a batch holds is gone after it was sent to be stored
        try:
            for piece, outcomes in _written(judged).items():
                piece.outcomes += outcomes
        finally:
            for one, _ in judged:  # it holds what was judged as if it had been taken
                one.forget()


def _written(judged: Sequence[tuple[Piece, Ahead]]) -> dict[Piece, list[Outcome]]:
    """In one transaction; nothing, where one of them fails: each will find out by itself."""
    written: dict[Piece, list[Outcome]] = {}
    last, batches = None, []
    asked = [question for one, _ in judged for question in one.questions()]
    try:
        with transaction.atomic(), asked_together(*_locking(), *asked):
            for piece, ahead in _apart(judged):
                outcomes = piece.in_turn(ahead, last)
                if outcomes is not None:
                    written[piece], last = outcomes, ahead
                    batches.append(ahead.batch)
            flush_together(*batches)
    except Refused:  # of all that is sent
        raise
    except Exception as fault:
        if was_held_up(fault):
            raise Busy() from fault
        log.warning("not_written_together", pieces=len(judged), exc_info=fault)
        return {}
    if batches:
        PACE.note(sum(map(len, written.values())), batches[0].held)
    return written


def _apart(judged: Iterable[tuple[Piece, Ahead]]) -> Iterable[tuple[Piece, Ahead]]:
    """Those that share nothing with one before them."""
    seen: set[UUID] = set()
    for piece, ahead in judged:
        subjects = ahead.subjects()
        if seen.isdisjoint(subjects):
            yield piece, ahead
        seen |= subjects


def prepare(
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
        if isinstance(one, Submission):
            with suppress(ValueError, LookupError, TypeError, AttributeError):  # will be refused
                known.expect(one.kind, UUID(one.about), parse_moment(one.at), one.body)
    return known


def take(
    prepared: Sequence[Sealed | Refused],
    batch: Batch,
    *,
    careful: bool = False,
    whole: bool = False,
) -> tuple[list[Outcome], bool]:
    """Judge and store, under the lock; see `judge`. And whether a letter is owed."""
    seen = Seen(batch.actor, known_among(prepared))
    outcomes = judge(prepared, batch, seen, careful=careful, whole=whole)
    batch.flush()
    return outcomes, batch.owes_letters

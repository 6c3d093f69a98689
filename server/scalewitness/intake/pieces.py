"""A piece of what somebody sends: as much as is taken in one transaction, or less.

Every piece goes one way: prepare (parse, seal, check signatures, read what its items will be
judged by) → lock the log → read again if an entry that bears on it came in → judge → settle what
follows → store. Small pieces of several senders go it in one transaction.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from datetime import datetime
from typing import TypeVar
from uuid import UUID

import msgspec
import structlog
from django.db import DatabaseError, OperationalError, transaction

from scalewitness.domain.errors import AddressUnconfirmed, Busy, Refused
from scalewitness.domain.facts import IdentifierAssigned
from scalewitness.domain.identifiers import plain_code
from scalewitness.domain.moments import parse_moment
from scalewitness.intake.authors import check_confirmed, confirmed_question
from scalewitness.intake.batch import Actor, Batch, draft_of, flush_together
from scalewitness.intake.judging import judge
from scalewitness.intake.known import Known
from scalewitness.intake.outcomes import Outcome, known_question
from scalewitness.intake.pace import PACE
from scalewitness.intake.signatures import prove
from scalewitness.intake.submission import Sealed, Submission, read, seal
from scalewitness.ledger.queries.fence import LAST
from scalewitness.ledger.queries.prepared import PreparedQuery, asked_together
from scalewitness.ledger.services.writing import IN_LINE, LOCKED, Writer
from scalewitness.mail.services import queueing as mail
from scalewitness.people.queries.own_word import rule_question
from scalewitness.postgresql import CommitUnknown
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
        self._most = len(items)
        self._prepared: Sequence[Sealed | Refused] | None = None
        self._known = Known(actor.keeper, received_at)

    @property
    def is_done(self) -> bool:
        return len(self.outcomes) == len(self.items)

    @property
    def is_begun(self) -> bool:
        """Whether some of it was tried already."""
        return self._prepared is not None

    def prepare(self) -> None:
        """All that needs no lock: parse, seal and check signatures, once; and read what its
        items will be judged by, unless it is still known."""
        if self._prepared is None:
            self._prepared, self._known = prepare(self.items, self.actor, self.received_at)
        elif not self._known.is_read:
            with self._known.read_ahead():
                pass

    def questions(self) -> list[PreparedQuery]:
        """What it asks under the lock."""
        first = [*confirmed_question(self.author), *rule_question(self.actor.keeper)]
        return [*first, *self._known.staleness(), known_question(self._next)]

    def ids(self) -> set[UUID | str]:
        """What its facts are and are about, and the codes they give: of two pieces that share
        any, one bears on the other."""
        sealed = [one for one in self._next if isinstance(one, Sealed)]
        given = [one.body for one in sealed if isinstance(one.body, IdentifierAssigned)]
        codes = {plain_code(one.scheme, one.code) for one in given}
        return {one for fact in sealed for one in (fact.id, fact.about)} | codes

    def judge(self, writer: Writer, *, whole: bool) -> tuple[Batch, list[Outcome]]:
        """Judge its next items under the lock, as many as the log may be held for or the
        ``whole``: those left have no outcome."""
        batch = Batch(self.actor, self.received_at, self._known, writer)
        try:
            check_confirmed(self.author)
        except AddressUnconfirmed as refused:
            self.fault = refused
            return batch, []
        return batch, judge(self._next, batch, whole=whole)

    def forget(self) -> None:
        """Have what it is judged by read anew: what was judged and not stored counts as taken
        there, and what was stored is read as everybody reads it."""
        self._known.forget()

    def take(self, *, whole: bool = False) -> None:
        """Take some of its items, at least one, in one transaction. Where the database refuses
        what no check foresaw, nothing is kept, and fewer are tried next time, down to
        that item by itself, which is refused."""
        self.prepare()
        try:
            write([self], whole=whole)
        except OperationalError as fault:  # no item's fault
            if was_held_up(fault):
                raise Busy() from fault
            raise
        except DatabaseError:
            self._narrow()

    def _narrow(self) -> None:
        (*_, item) = tried = self._next
        if len(tried) > 1:
            self._most = len(tried) // 2
            return
        fault = Refused("The record could not store this item.")
        given = str(item.id) if isinstance(item, Sealed) else None
        self.outcomes.append(Outcome(given, "refused", problem=fault.as_problem()))
        self._most = len(self.items)

    @property
    def _next(self) -> Sequence[Sealed | Refused]:
        done = len(self.outcomes)
        return (self._prepared or ())[done : done + self._most]


def write_together(pieces: Sequence[Piece]) -> None:
    """Write small pieces in one transaction. One on which another bears gets no outcome here;
    nor does any where something fails: each will find out by itself."""
    for one in pieces:
        try:
            one.prepare()
        except Exception as fault:
            one.fault = one.fault or fault
    try:
        write([one for one in pieces if one.fault is None])
    except (Refused, CommitUnknown):  # of the log, and so of all
        raise
    except Exception as fault:
        if was_held_up(fault):
            raise Busy() from fault
        log.warning("not_written_together", pieces=len(pieces), exc_info=fault)


def write(pieces: Sequence[Piece], *, whole: bool = False) -> None:
    """Take items of each piece, which is prepared, in one transaction; those taken have their
    outcome afterwards. Where this raises, nothing was written."""
    taken: list[tuple[Piece, Batch, list[Outcome]]] = []
    try:
        with transaction.atomic(), asked_together(*_questions(pieces)):
            writer = Writer()
            for piece in _apart(pieces):
                taken.append((piece, *piece.judge(writer, whole=whole)))
                if not taken[-1][1].leaves_room:
                    break
            flush_together(writer, [batch for _, batch, _ in taken])
    finally:
        for one in pieces:
            one.forget()
    for piece, _, outcomes in taken:
        piece.outcomes += outcomes
    if any(batch.letters.any for _, batch, _ in taken):
        transaction.on_commit(mail.wake)
    PACE.note(sum(len(outcomes) for _, _, outcomes in taken), writer.held)


def _questions(pieces: Sequence[Piece]) -> list[PreparedQuery]:
    """What is asked first, the log's lock before all: whoever waits for it meanwhile waits for
    one answer instead of several."""
    locking = [IN_LINE, LOCKED.question(), LAST.question()]
    return [*locking, *(question for one in pieces for question in one.questions())]


def _apart(pieces: Iterable[Piece]) -> Iterable[Piece]:
    """Those that share no id with one before them."""
    seen: set[UUID | str] = set()
    for piece in pieces:
        ids = piece.ids()
        if seen.isdisjoint(ids):
            yield piece
        seen |= ids


def prepare(
    items: Iterable[object], actor: Actor, received_at: datetime
) -> tuple[list[Sealed | Refused], Known]:
    """Parse, seal and check signatures, and read what items will be judged by. All that is
    outside the lock: whoever waits for it waits for none of it."""
    given = [_attempt(read, item) for item in items]
    known = _expecting(given, actor, received_at)

    def sealed(one: Submission) -> Sealed:
        fact = seal(one, received_at, _fresh_salt)
        return msgspec.structs.replace(fact, draft=draft_of(fact, actor).with_leaf(received_at))

    with known.read_ahead():  # the rest while PostgreSQL answers
        return prove(
            [one if isinstance(one, Refused) else _attempt(sealed, one) for one in given], actor
        ), known


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

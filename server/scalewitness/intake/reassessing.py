"""Stating anew what a new rule, or an examiner's new record or deceit, makes of animals: a few at
a time, so that others get their turn in between. Whatever stops it, the next run goes on from
there."""

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from itertools import islice
from typing import TypeVar
from uuid import UUID

import structlog
from django.db import transaction

from scalewitness.domain.errors import Refused
from scalewitness.intake.batch import Actor, Batch
from scalewitness.intake.confirming import touch_due
from scalewitness.intake.consequences import settle
from scalewitness.intake.known import Known
from scalewitness.letters.new_rule import let_go
from scalewitness.mail.services import queueing as mail
from scalewitness.standings.queries.due import (
    Reassessment,
    behind,
    due,
    latest_adoption,
    relabelled,
    stated_before,
)
from scalewitness.standings.services import note_review, review_under

log = structlog.get_logger()
T = TypeVar("T")

RECORD = Actor()
"""Nobody: what the record states has no sender."""
LOOKED_AT_TOGETHER = 256
"""Animals that are looked at for a label that newer numbers change, with nothing locked: a quarter
of a second (our judgement)."""
READ_TOGETHER = 32
"""Animals whose evidence is read at a time, before the log is locked for them (our judgement)."""


def in_turns(
    things: Iterable[T],
    now: datetime,
    state: Callable[[T, Batch], None],
    known: Callable[[Iterable[T]], Known | None] = lambda rest: None,
) -> None:
    """``state`` what the record states of each, with all that follows, in as many transactions
    as the log may be locked for. ``known``: what is read, ahead of each, for those left."""
    rest = deque(things)
    while rest:
        read = known(rest)
        with transaction.atomic():
            batch = Batch(RECORD, now, read)
            _state_some(rest, batch, state)
            batch.flush()
        if batch.letters.any:
            transaction.on_commit(mail.wake)


def _state_some(rest: deque[T], batch: Batch, state: Callable[[T, Batch], None]) -> None:
    """The first, and as many of the others as the batch may hold."""
    while rest:
        state(rest.popleft(), batch)
        settle(batch)
        if batch.full:
            break


def reassess_due(now: datetime) -> int:
    """Every animal that a newer rule, or an examiner's record or deceit, measures; how many there
    were. Each standing comes with its consequences, in the same transaction. One that fails keeps
    nobody after it waiting; its fault is raised when the others are done."""
    found = due()
    fault = _reassess_together(found, now)
    moved, later = _review(now)
    let_go(now)
    for one in filter(None, (fault, later)):
        raise one
    return len(found) + moved


def _review(now: datetime) -> tuple[int, Exception | None]:
    """Looks through all animals for those whose label newer numbers change, some at a time, and
    states these. Where it is stopped, the next run goes on; it is not over while one fails."""
    adoption, fault, count = latest_adoption(), None, 0
    review = None if adoption is None else review_under(adoption.position)
    if adoption is None or review is None:
        return 0, None
    after = review.reached
    while some := stated_before(adoption.position, after, LOOKED_AT_TOGETHER):
        moved = [Reassessment(one, adoption.fact, adoption.kind) for one in _relabelled(some)]
        fault = _reassess_together(moved, now) or fault
        count, after = count + len(moved), some[-1]
        if fault is None:
            note_review(review, after)
    if fault is None:
        note_review(review, after, finished=True)
    return count, fault


def _relabelled(some: Sequence[UUID]) -> Sequence[UUID]:
    """All of them, where one cannot be worked out: each is asked about again by itself."""
    try:
        return relabelled(some)
    except Exception as fault:
        log.error("not_looked_through", exc_info=fault)
        return some


def _reassess_together(found: Iterable[Reassessment], now: datetime) -> Exception | None:
    """Those that fail keep nobody after them waiting; the fault of the last that does."""
    rest, fault = iter(found), None
    while some := list(islice(rest, READ_TOGETHER)):
        fault = each_in_turns(some, now, _reassess, lambda rest: _read(rest, now)) or fault
    return fault


def each_in_turns(
    things: Sequence[T],
    now: datetime,
    state: Callable[[T, Batch], None],
    known: Callable[[Iterable[T]], Known | None] = lambda rest: None,
) -> Exception | None:
    """As `in_turns`; where one fails, all one by one, so ``state`` may be asked of one again. The
    fault of the last that does fail."""
    try:
        in_turns(things, now, state, known)
    except Refused:  # of the log, not of one of them
        raise
    except Exception as fault:
        if len(things) > 1:
            faults = [each_in_turns([one], now, state, known) for one in things]
            return next(filter(None, reversed(faults)), None)
        log.error("not_stated", of=str(things[0]), exc_info=fault)
        return fault
    return None


def _read(some: Iterable[Reassessment], now: datetime) -> Known:
    known = Known(None, now)
    for one in some:
        known.expect("call_made", one.animal, now, {})
    with known.read_ahead():
        return known


def _reassess(one: Reassessment, batch: Batch) -> None:
    """Unless somebody was quicker."""
    if due([one.animal]):
        touch_due(one, batch)


def reassess_first(animals: Iterable[UUID], batch: Batch, *, anew: bool = False) -> None:
    """Before somebody relies on their standings: those that a newer rule would state otherwise
    are stated by it. ``anew``: by newer numbers also where these leave the label as it is."""
    batch.store()
    ids = list(animals)
    for one in (*(behind(ids) if anew else ()), *due(ids)):
        touch_due(one, batch)
    settle(batch)


def restate(animals: Iterable[UUID], now: datetime) -> None:
    """State anew those that newer numbers measure, before their keeper offers them."""
    older = behind(list(animals))
    if older:
        in_turns(older, now, lambda one, batch: batch.touch(*one))
        let_go(now)

"""The one way in: every fact, from every edge, passes through `accept`."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from scalewitness.domain.errors import Busy, Refused
from scalewitness.intake.authors import check_confirmed
from scalewitness.intake.batch import Actor
from scalewitness.intake.kinds import AT_ONCE
from scalewitness.intake.outcomes import Outcome, named
from scalewitness.intake.pace import PACE
from scalewitness.intake.pieces import Piece, write_together
from scalewitness.intake.turns import TIMEOUT, Turns, Waiting
from scalewitness.monitoring.measures import TURN_WAIT
from scalewitness.postgresql import CommitUnknown
from scalewitness.waiting import nobody_waits, time_left

SMALL, TOGETHER = 5, 24
"""Items of a piece that takes others along or is taken along, and how many are at most: half of a
tenth of a second in all, where each is a single call (our judgement)."""
LONGEST = 10.0
"""Seconds after it was sent that a long push still waits for a further turn: it is answered while
its sender listens, and what is left is sent again (our judgement; nobody is to wait for 15 s)."""

TURNS: Turns[Piece] = Turns()


def accept(
    items: Sequence[object], actor: Actor, received_at: datetime, *, ending: bool = False
) -> list[Outcome]:
    """Take what somebody sends: one outcome an item, in order.

    Each item is accepted, a duplicate, held or refused on its own; what a fact causes
    (standing, holds, disclosures, disputes, letters) is in the same transaction. Many items
    are taken in several, one after the other, so that others get their turn in between. When
    this returns, all is committed.

    Inside a transaction begun elsewhere all items are part of that. ``ending``: they take powers
    away and claim nothing, so that the keeper may be anyone.

    Raises:
        Busy: it did not get its turn, or nobody waits for the answer any more. What was taken
            before stays; the same sent again is safe.
        AddressUnconfirmed: of all of it; its keeper has not confirmed their address.
        Fenced: the log is closed.
        CommitUnknown: nobody can tell whether what was taken last stays.
    """
    author = None if ending else actor.keeper
    if not items:
        check_confirmed(author)
    if transaction.get_connection().in_atomic_block:
        return named(items, _at_once(Piece(items, actor, received_at, author)))
    outcomes: list[Outcome] = []
    while len(outcomes) < len(items):
        stretch = items[len(outcomes) :][: PACE.stretch()]
        piece = Piece(stretch, actor, received_at, author)
        while not piece.is_done:
            _take_in_turn(piece, begun=bool(outcomes) or piece.is_begun)
        outcomes += piece.outcomes
    return named(items, outcomes)


def _at_once(piece: Piece) -> list[Outcome]:
    """Without waiting for a turn: whoever has it may wait for what that transaction holds."""
    while not piece.is_done:
        piece.take(whole=True)
        _raise_fault_of(piece)
    return piece.outcomes


def _take_in_turn(piece: Piece, *, begun: bool) -> None:
    """Take some of it, at least; in one's own turn, or in that of another who takes it along.
    What was ``begun`` before that is gone on with for longer: it waits for others who get on."""
    joins = not piece.is_begun and _may_join(piece.items)
    timeout = min(TIMEOUT, time_left(LONGEST)) if begun else time_left(TIMEOUT)
    # While waiting, its connection is another's: back to the pool, where threads outnumber them.
    with TURN_WAIT.time():
        mine = TURNS.take(piece.actor.by, piece if joins else None, timeout, connection.close)
    if mine:
        others: list[Waiting[Piece]] = []
        try:
            others += TURNS.along(TOGETHER) if joins else []
            if nobody_waits():
                piece.fault = Busy()
            _take(piece, [one.load for one in others if one.load])
        finally:
            TURNS.leave(others)
    _raise_fault_of(piece)


def _raise_fault_of(piece: Piece) -> None:
    if piece.fault is not None:
        raise piece.fault


def _may_join(items: Sequence[object]) -> bool:
    """Whether they are few, and of kinds that can be written together with others'."""
    kinds = [one.get("kind") for one in items if isinstance(one, Mapping)]
    return len(items) <= SMALL and all(isinstance(one, str) and one in AT_ONCE for one in kinds)


def _take(piece: Piece, others: list[Piece]) -> None:
    """``others`` are written with it if they can be; else they take turns of their own. A fault
    of theirs is theirs."""
    try:
        if others:
            write_together([piece, *others])
        if not piece.is_done and piece.fault is None:
            piece.take()
    except BaseException as fault:
        for one in others:
            one.fault = one.fault or (fault if isinstance(fault, CommitUnknown) else Busy())
        raise


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

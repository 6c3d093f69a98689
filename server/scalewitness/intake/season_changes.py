"""Changing the plan of a season: all of it or nothing, and only the plan that was read."""

from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from django.db import transaction

from scalewitness.domain.errors import NotNow
from scalewitness.intake.batch import Actor
from scalewitness.intake.outcomes import Outcome
from scalewitness.ledger.queries.entries import entry_of
from scalewitness.ledger.services.writing import take_turn
from scalewitness.seasons.queries.inputs import planned_in

Item = Mapping[str, Any]
Say = Callable[[Sequence[Item], Actor, datetime], list[Outcome]]


def change_plan(
    items: Sequence[Item],
    read: Collection[UUID],
    of: tuple[UUID, int],
    actor: Actor,
    now: datetime,
    say: Say,
) -> list[Outcome]:
    """State the ``items``, each that a pairing is planned or dropped, of the season ``of`` a
    collection and a year. ``read``: the pairings that were planned when its keeper read the plan.
    Sent again it changes nothing. Where one item is refused, none is stated, and all are refused
    for its reason.

    Raises:
        NotNow: the plan was changed meanwhile, on another page or by a partner.
        Fenced: the log is closed.
    """
    if actor.keeper is None:
        raise ValueError("a plan is a keeper's")
    with transaction.atomic():
        take_turn()  # nobody plans anything until this is written
        planned = {one.pk for one in planned_in(*of, actor.keeper, now)}
        if planned != set(read) and entry_of(UUID(str(items[0]["id"]))) is None:
            raise NotNow("The plan was changed since you read it. Look at it as it is now.")
        outcomes = say(items, actor, now)
        problem = next((one.problem for one in outcomes if one.problem), None)
        transaction.set_rollback(problem is not None)
    return outcomes if problem is None else [_undone(one, problem) for one in outcomes]


def _undone(outcome: Outcome, problem: dict[str, Any]) -> Outcome:
    """What was accepted and is not stated after all, as another item was refused: for the same
    reason, and without the position that is another's now."""
    if outcome.status != "accepted":
        return outcome
    return msgspec.structs.replace(
        outcome, status="refused", problem=problem, position=None, stamp=None
    )

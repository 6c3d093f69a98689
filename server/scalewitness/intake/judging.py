"""What becomes of each item of a batch, in order."""

from collections.abc import Sequence

import msgspec

from scalewitness.domain.errors import NotFound, Refused
from scalewitness.intake.batch import Batch
from scalewitness.intake.consequences import settle
from scalewitness.intake.kinds import AT_ONCE, NEEDS_SETTLED, RULES
from scalewitness.intake.outcomes import KnownIds, Outcome, known_among
from scalewitness.intake.reassessing import reassess_first
from scalewitness.intake.rules.slips import refuse_of_a_slip
from scalewitness.intake.signatures import Signatures
from scalewitness.intake.submission import Sealed
from scalewitness.sales.queries import animals_sold


def judge(
    prepared: Sequence[Sealed | Refused], batch: Batch, *, whole: bool = False
) -> list[Outcome]:
    """An outcome an item, and all that follows from them kept in the batch. The items end where
    the batch is full, unless the ``whole`` is wanted: fewer outcomes than items, at least one."""
    seen = KnownIds(batch.actor, known_among(prepared))
    signatures = Signatures(batch.actor, batch.now)
    outcomes: list[Outcome] = []
    for item in prepared:
        if outcomes and batch.full and not whole:
            break
        outcomes.append(_outcome(item, batch, seen, signatures))
    settle(batch)
    return outcomes


def _outcome(
    item: Sealed | Refused, batch: Batch, seen: KnownIds, signatures: Signatures
) -> Outcome:
    if isinstance(item, Refused):
        return Outcome(None, "refused", problem=item.as_problem())
    try:
        if not seen.has(item):
            signatures.require(item)
        earlier = seen.outcome(item)
        if earlier is not None:
            return earlier
        signatures.require_own_word(item)
        if item.kind in NEEDS_SETTLED or batch.is_unsettled(item.about):
            settle(batch)
        if item.kind in NEEDS_SETTLED:
            anew = item.kind == "offer_made"
            reassess_first(animals_sold(item.about), batch, anew=anew)
        position = _judged(item, batch)
    except Refused as refused:
        return Outcome(str(item.id), "refused", problem=refused.as_problem())
    outcome = (
        Outcome(str(item.id), "held", flags=item.flags, seal=batch.sealed.get(item.id))
        if position is None
        else Outcome(str(item.id), "accepted", position, item.flags, stamp=batch.stamp_at(position))
    )
    seen.add(item, outcome)
    if note := batch.noted.get(item.id):
        return msgspec.structs.replace(outcome, flags=(*outcome.flags, note))
    return outcome


def _judged(item: Sealed, batch: Batch) -> int | None:
    """By its kind's rule. A rule that reads what calls write finds it stored; what calls are
    judged by is read anew after a rule that may have changed it."""
    rule = RULES[item.kind]
    if item.kind not in AT_ONCE:
        batch.store()
    try:
        position = rule(item, batch)
    except NotFound:
        refuse_of_a_slip(item.about, batch)
        raise
    if item.kind not in AT_ONCE:
        batch.store()
    if item.kind != "call_made":
        batch.known.heed(item.kind, item.about)
    return position

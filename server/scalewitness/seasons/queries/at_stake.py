"""What hangs on animals: sales, disputes, and what the reader's seasons lose if one is of the other
sex."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from scalewitness.disputes.queries.disputes import at_stake
from scalewitness.planning.candidates import AtStake
from scalewitness.seasons.queries.outlooks import ahead, stored


def stake_for(reader: UUID, animals: Sequence[UUID], now: datetime) -> AtStake:
    """For a steward of the animals: never for a blind guest."""
    return replace(at_stake(animals, now), hanging=hanging_on(reader, animals, now))


def hanging_on(reader: UUID, animals: Sequence[UUID], now: datetime) -> dict[UUID, float]:
    """The share of a season's expected worth that is lost with each, at most of any season ahead.
    Animals in no season that was worked out are absent."""
    wanted, found = {str(one) for one in animals}, dict[UUID, float]()
    for kept in ahead(now).filter(reader=reader, basis__overlap=list(animals)):
        outlook = stored(kept)
        if outlook is None or outlook.worth.expected <= 0:
            continue
        for fall in outlook.falls:
            if fall.animal in wanted:
                lost = max(0.0, 1 - fall.left / outlook.worth.expected)
                animal = UUID(fall.animal)
                found[animal] = max(found.get(animal, 0.0), lost)
    return found

"""An animal's assessment, worked out apart from what was logged of it."""

from uuid import UUID

from scalewitness.animals.models import Animal
from scalewitness.animals.queries.joining import same_snake
from scalewitness.domain.sexing.evidence import Evidence
from scalewitness.domain.sexing.standing import Assessment
from scalewitness.standings.queries.assessing import Yardstick, assess_animal, yardstick
from scalewitness.standings.queries.evidence import (
    StatedCall,
    calls_on,
    counted_at,
    evidence_by_snake,
)
from scalewitness.standings.queries.linkage import start_of
from scalewitness.standings.queries.logged import latest_standing


def assessment_of(animal: Animal, by: Yardstick | None = None) -> tuple[Assessment, list[Evidence]]:
    """From the calls that count now, with the evidence used; by what is in force now unless said
    otherwise."""
    by = by or yardstick()
    evidence = evidence_by_snake([animal.pk]).get(animal.pk, [])
    start, stated = start_of(animal, by.numbers), latest_standing(animal.pk)
    return assess_animal(animal.species, evidence, by, start, stated), evidence


def counted(animal: UUID, at: int) -> list[StatedCall]:
    """The calls that counted just after the fact at that log position, in log order."""
    return [call for call in calls_on(same_snake(animal, at), at) if counted_at(call, at)]
